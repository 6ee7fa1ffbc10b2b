//! The rules on weather, asked about what a service said: fresh and whole may clear; ageing, stale, partial and missing never
//! do; what bars goes on barring.

use domain::{
    decision::{Decision, Outcome, Verdict, decide},
    time::Instant,
    weather::{
        AirTemperature, Alert, AlertEvent, AlertLevel, AlertName, Alerts, Basis, FromService, ModelledSoil, RainBounds,
        RainForecast, Weather, WeatherSource, Wind,
    },
};
use jiff::SignedDuration;

use crate::{
    edges::{codes, town},
    facts::{Given, amount, day},
};

const RULE: &str = "us-zz-town.rule";
/// Minutes since fetching, minutes since issue, and whether that is fresh or only old; beyond these nothing is known.
const AGES: [(i64, i64, bool); 6] =
    [(0, 0, true), (60, 480, true), (61, 60, false), (10, 481, false), (10, 88 * 60, false), (24 * 60, 60, false)];
const USELESS: [(i64, i64); 3] = [(24 * 60 + 1, 60), (10, -11), (-11, 10)];

fn ago(at: Instant, minutes: i64) -> Instant {
    at.plus(SignedDuration::from_mins(-minutes))
}

/// How a service came by a forecast.
fn service(at: Instant, (fetched, issued): (i64, i64), covered: &str) -> FromService {
    FromService {
        basis: Basis::Forecast,
        fetched_at: ago(at, fetched),
        issued_at: Some(ago(at, issued)),
        coverage_percent: amount(covered),
    }
}

/// What a town's single rule answers when only its part of the weather is known.
fn answer(kind: &str, head: &str, value: &str, weather: impl Fn(Instant) -> Weather) -> (Outcome, Decision) {
    let given = Given { n: Some("20".into()), n_rate: Some("0.5".into()), ..Given::default() };
    let mut facts = given.facts(day("2026-06-15"));
    facts.weather = weather(facts.at);
    let decision = decide(&town(kind, head, value), &codes(&["us-zz-town"]), &facts);
    let found = decision.findings.iter().find(|finding| finding.rule == RULE);
    let outcome = found.map_or(Outcome::Met, |finding| finding.outcome);
    assert!(found.is_some() || decision.met.iter().any(|met| met.rule == RULE), "the rule was not asked");
    if outcome == Outcome::Unknown {
        assert_eq!(found.map(|finding| finding.verdict), Some(Verdict::Care), "a look can mend it: it stops nothing");
    }
    (outcome, decision)
}

fn rain(age: (i64, i64), covered: &str, lower: &str, upper: &str) -> Outcome {
    let forecast = |at| RainForecast {
        rain_in: amount(upper),
        hours: 24,
        chance_percent: None,
        source: WeatherSource::WeatherService,
        issued_at: ago(at, age.1),
        bounds: Some(RainBounds { starts_at: at, lower_in: amount(lower), best_in: amount(lower) }),
        service: Some(service(at, age, covered)),
    };
    let value = "comparator = \"at_least\"\nvalue = \"2\"\nhours = 24";
    answer("rain", "unit = \"in\"", value, |at| Weather { rain_forecast: vec![forecast(at)], ..Weather::default() }).0
}

#[test]
fn rain_is_cleared_by_a_fresh_whole_forecast_alone() {
    for (fetched, issued, fresh) in AGES {
        let age = (fetched, issued);
        assert_eq!(rain(age, "100", "0", "1.999"), if fresh { Outcome::Met } else { Outcome::Care }, "{age:?}");
        assert_eq!(rain(age, "87.5", "0", "1.999"), Outcome::Unknown, "a hole may be the rain: {age:?}");
        assert_eq!(rain(age, "99.99", "0", "0"), Outcome::Unknown, "{age:?}");
        assert_eq!(rain(age, "100", "1.999", "2"), Outcome::Care, "the limit lies between the bounds: {age:?}");
        assert_eq!(rain(age, "100", "2", "3"), Outcome::Broken, "{age:?}");
        assert_eq!(rain(age, "50", "2", "3"), Outcome::Broken, "what is known of the half is enough: {age:?}");
    }
    for age in USELESS {
        assert_eq!(rain(age, "100", "0", "0"), Outcome::Unknown, "{age:?}");
        assert_eq!(rain(age, "100", "3", "3"), Outcome::Unknown, "nor does it stop: {age:?}");
    }
}

fn air(age: (i64, i64), covered: &str, fahrenheit: &str) -> Outcome {
    let air = |at| AirTemperature {
        air_temperature_f: amount(fahrenheit),
        source: WeatherSource::WeatherService,
        observed_at: at,
        service: Some(service(at, age, covered)),
    };
    let head = "nutrient = \"nitrogen_quick\"\nunit = \"°F\"";
    let value = "comparator = \"at_least\"\nvalue = \"85\"";
    answer("heat", head, value, |at| Weather { air_temperature: Some(air(at)), ..Weather::default() }).0
}

#[test]
fn heat_is_cleared_by_a_fresh_whole_forecast_alone() {
    for (fetched, issued, fresh) in AGES {
        let age = (fetched, issued);
        assert_eq!(air(age, "100", "84.9"), if fresh { Outcome::Met } else { Outcome::Care }, "{age:?}");
        assert_eq!(air(age, "75", "84.9"), Outcome::Unknown, "{age:?}");
        assert_eq!(air(age, "75", "85"), Outcome::Broken, "a known maximum over the cutoff is over it: {age:?}");
    }
    for age in USELESS {
        assert_eq!(air(age, "100", "60"), Outcome::Unknown, "{age:?}");
    }
}

fn alerts(looked: i64, covered: &str, active: &[Alert], others: &[&str]) -> Outcome {
    let list = |at| Alerts {
        active: active.to_vec(),
        source: WeatherSource::WeatherService,
        looked_at: ago(at, looked),
        others: others.iter().map(|name| AlertName((*name).to_owned())).collect(),
        service: Some(FromService { basis: Basis::Observed, issued_at: None, ..service(at, (looked, 0), covered) }),
    };
    let value = "alerts = [{ event = \"flood\", level = \"watch\" }]";
    answer("alerts", "", value, |at| Weather { alerts: Some(list(at)), ..Weather::default() }).0
}

#[test]
fn alerts_are_cleared_by_a_whole_list_of_the_last_half_hour_alone() {
    let flood = Alert { event: AlertEvent::Flood, level: AlertLevel::Watch };
    let other = Alert { event: AlertEvent::Hurricane, level: AlertLevel::Warning };
    assert_eq!(alerts(30, "100", &[], &[]), Outcome::Met);
    assert_eq!(alerts(30, "100", &[other], &[]), Outcome::Met, "one that this rule does not name");
    assert_eq!(alerts(31, "100", &[], &[]), Outcome::Care);
    assert_eq!(alerts(0, "66.67", &[], &[]), Outcome::Unknown, "one of three questions was not answered");
    assert_eq!(alerts(0, "100", &[], &["Flood Advisory"]), Outcome::Care);
    for (looked, covered) in [(0, "100"), (31, "100"), (0, "33.33"), (24 * 60, "33.33")] {
        assert_eq!(alerts(looked, covered, &[flood], &[]), Outcome::Broken, "{looked} minutes, {covered} %");
    }
    assert_eq!(alerts(24 * 60 + 1, "100", &[flood], &[]), Outcome::Unknown);
}

/// *Common practice*: what no rule of the law names asks for care all the same, and it never stops.
#[test]
fn where_no_rule_speaks_of_alerts_practice_asks_for_care() {
    let flood = Alert { event: AlertEvent::Flood, level: AlertLevel::Warning };
    // Minutes since somebody looked; how much of the questions was answered, or that a person looked.
    let ask = |looked: i64, covered: Option<&str>, active: &[Alert], others: &[&str]| {
        let mut facts =
            Given { n: Some("20".into()), n_rate: Some("0.5".into()), ..Given::default() }.facts(day("2026-06-15"));
        let looked_at = ago(facts.at, looked);
        let of_service = |covered: &str| FromService {
            basis: Basis::Observed,
            issued_at: None,
            ..service(facts.at, (looked, 0), covered)
        };
        facts.weather.alerts = Some(Alerts {
            active: active.to_vec(),
            source: WeatherSource::WeatherService,
            looked_at,
            others: others.iter().map(|name| AlertName((*name).to_owned())).collect(),
            service: covered.map(of_service),
        });
        let law = town("ground", "", "barred = [\"frozen\"]");
        let decision = decide(&law, &codes(&["us-zz-town"]), &facts);
        let found = decision.findings.iter().find(|finding| finding.rule == "practice.alerts");
        assert_ne!(found.map(|finding| finding.verdict), Some(Verdict::Stop));
        found.map(|finding| (finding.outcome, finding.message.clone()))
    };
    let care = |message: &str| Some((Outcome::Care, message.to_owned()));
    assert_eq!(ask(0, Some("100"), &[], &[]), None);
    assert_eq!(ask(0, None, &[], &[]), None);
    assert_eq!(ask(60, Some("100"), &[], &[]), None, "as fresh as a forecast of then");
    assert_eq!(
        ask(61, Some("100"), &[], &[]),
        care("The last look for weather watches and warnings is 61 minutes old.")
    );
    assert_eq!(ask(0, None, &[flood], &[]), care("In force: flood warning."));
    let both = ask(0, Some("66.67"), &[flood], &["Evacuation - Immediate"]);
    assert_eq!(both, care("In force: flood warning and Evacuation - Immediate."));
    assert_eq!(ask(0, Some("66.67"), &[], &[]).map(|(outcome, _)| outcome), Some(Outcome::Unknown));
    assert_eq!(ask(24 * 60 + 1, Some("100"), &[flood], &[]).map(|(outcome, _)| outcome), Some(Outcome::Unknown));
}

/// A failed fetch of alerts leaves nothing; nothing is care, and no stop by itself.
#[test]
fn nothing_known_is_care_everywhere_and_stop_nowhere() {
    let rain = "comparator = \"at_least\"\nvalue = \"2\"\nhours = 24";
    let heat = ("nutrient = \"nitrogen_quick\"\nunit = \"°F\"", "comparator = \"at_least\"\nvalue = \"85\"");
    let alerts = "alerts = [{ event = \"flood\", level = \"watch\" }]";
    for (kind, head, value) in [("rain", "unit = \"in\"", rain), ("heat", heat.0, heat.1), ("alerts", "", alerts)] {
        assert_eq!(answer(kind, head, value, |_| Weather::default()).0, Outcome::Unknown, "{kind}");
    }
}

#[test]
fn a_model_of_the_soil_raises_care_and_clears_nothing() {
    let ask = |fahrenheit: &str, water: Option<&str>, ground: Option<&str>| {
        let given = Given {
            ground: ground.map(str::to_owned),
            n: Some("20".into()),
            n_rate: Some("0.5".into()),
            ..Given::default()
        };
        let mut facts = given.facts(day("2026-06-15"));
        facts.weather.soil = Some(ModelledSoil {
            soil_temperature_f: amount(fahrenheit),
            water_percent: water.map(amount),
            source: WeatherSource::WeatherService,
            observed_at: facts.at,
            service: Some(FromService { basis: Basis::Modelled, ..service(facts.at, (0, 0), "100") }),
        });
        let law = town("ground", "", "barred = [\"frozen\", \"saturated\"]");
        let decision = decide(&law, &codes(&["us-zz-town"]), &facts);
        decision.findings.iter().find(|finding| finding.rule == RULE).map_or(Outcome::Met, |finding| finding.outcome)
    };
    assert_eq!(ask("32.1", Some("39.99"), Some("moist")), Outcome::Met);
    assert_eq!(ask("32", None, Some("moist")), Outcome::Care);
    assert_eq!(ask("50", Some("40"), Some("moist")), Outcome::Care);
    assert_eq!(ask("70", Some("20"), Some("frozen")), Outcome::Broken, "what a person saw stands");
    assert_eq!(ask("70", Some("20"), Some("unseen")), Outcome::Unknown, "a warm model is no look at the ground");
}

#[test]
fn what_two_sources_say_is_joined_so_that_neither_hides_the_other() {
    let at = Instant::parse("2026-06-15T14:00:00Z").expect("an instant");
    let flood = Alert { event: AlertEvent::Flood, level: AlertLevel::Watch };
    let list = |active: Vec<Alert>, source| Alerts { active, source, looked_at: at, others: Vec::new(), service: None };
    let wind = |mph: &str, source| {
        Some(Wind { wind_mph: amount(mph), gust_mph: None, source, observed_at: at, service: None })
    };
    let (person, service) = (WeatherSource::Technician, WeatherSource::WeatherService);
    let seen = Weather { alerts: Some(list(Vec::new(), person)), wind: wind("3", person), ..Weather::default() };
    let told = Weather { alerts: Some(list(vec![flood], service)), wind: wind("30", service), ..Weather::default() };
    let joined = seen.joined(&told);
    assert_eq!(joined.alerts.map(|alerts| alerts.active), Some(vec![flood]));
    assert_eq!(joined.wind, seen.wind, "the wind on the lawn is measured on the lawn");
    let aged = |minutes| Alerts { looked_at: ago(at, minutes), ..list(vec![flood], service) };
    let beside = |minutes| {
        let told = Weather { alerts: Some(aged(minutes)), ..Weather::default() };
        seen.joined(&told).alerts.map(|alerts| alerts.active.len())
    };
    assert_eq!((beside(30), beside(31)), (Some(1), Some(0)), "a look of now takes the place of a list of long ago");
    assert_eq!(seen.joined(&Weather::default()), seen);
    assert_eq!(Weather::default().joined(&told), told);
}

/// The law bars "heavy" rain and no number was read: then a dry word, of a person or of a second service, does not take away
/// what another says of rain.
#[test]
fn a_dry_word_beside_a_wet_one_is_not_dry() {
    let ask = |forecasts: &[(&str, i64)]| {
        let given = Given { n: Some("20".into()), n_rate: Some("0.5".into()), ..Given::default() };
        let mut facts = given.facts(day("2026-06-15"));
        let at = facts.at;
        let forecast = |(inches, minutes): &(&str, i64)| RainForecast {
            rain_in: amount(inches),
            hours: 24,
            chance_percent: None,
            source: WeatherSource::WeatherService,
            issued_at: ago(at, *minutes),
            bounds: None,
            service: Some(service(at, (0, *minutes), "100")),
        };
        facts.weather.rain_forecast = forecasts.iter().map(forecast).collect();
        let law = town("rain", "unit = \"in\"", "heavy_without_number = true\nhours = 24");
        let decision = decide(&law, &codes(&["us-zz-town"]), &facts);
        decision.findings.iter().find(|finding| finding.rule == RULE).map_or(Outcome::Met, |finding| finding.outcome)
    };
    assert_eq!(ask(&[("0", 0)]), Outcome::Met);
    assert_eq!(ask(&[("2.4", 60), ("0", 0)]), Outcome::Care, "the newer one is dry");
    assert_eq!(ask(&[("0", 0), ("2.4", 60)]), Outcome::Care);
}

#[test]
fn of_two_services_the_graver_counts_unless_it_is_old() {
    let at = Instant::parse("2026-06-15T14:00:00Z").expect("an instant");
    let air = |fahrenheit: &str, minutes: i64| Weather {
        air_temperature: Some(AirTemperature {
            air_temperature_f: amount(fahrenheit),
            source: WeatherSource::WeatherService,
            observed_at: at,
            service: Some(service(at, (minutes, minutes), "100")),
        }),
        ..Weather::default()
    };
    let taken = |first: &Weather, second: &Weather| {
        first.joined(second).air_temperature.map(|air| air.air_temperature_f.to_string()).unwrap_or_default()
    };
    assert_eq!(taken(&air("80", 0), &air("90", 0)), "90");
    assert_eq!(taken(&air("90", 0), &air("80", 0)), "90");
    assert_eq!(taken(&air("80", 0), &air("90", 60)), "90");
    assert_eq!(taken(&air("80", 0), &air("90", 61)), "80", "an hour ago it was hotter there");
    let mut person = air("80", 0);
    if let Some(air) = &mut person.air_temperature {
        (air.source, air.service) = (WeatherSource::Technician, None);
    }
    assert_eq!(taken(&person, &air("90", 0)), "80", "who stands on the lawn knows it");
}
