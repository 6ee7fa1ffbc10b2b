//! Programmes and calendar: C55 to C57, C62, C66, C93, C120 to C131, C134, C135.

use domain::{
    decision::{Outcome, Verdict, decide},
    programme::{
        need::{NeedQuestion, NitrogenSource, OtherSource, Spent, reckon},
        published::{Maintenance, Misfit, Published},
        schedules::{PUBLISHED, published},
        timing::{
            BeforeFreeze, Cold, Credits, NitrogenSeason, Shade, growing_degree_hundredths, heat_index_tenths,
            late_autumn_feeding_may_begin, september_feeding_may_go_down, within_quoted_drift_statement,
        },
    },
    quantity::{NutrientRate, Temperature},
};

use super::{amount, close, near};
use crate::facts::{Given, day};

fn named(name: &str) -> &'static Published {
    published(name).expect("a programme")
}

fn fits(programme: &Published, on: &str, nitrogen: &str, earlier: &str) -> Result<(), Misfit> {
    let earlier = if earlier == "0" { NutrientRate::ZERO } else { amount(earlier) };
    programme.fits(day(on), amount(nitrogen), earlier)
}

#[test]
fn c55_north_carolina_sums() {
    // NC State, Caring for Your Lawn and the Environment, read; exact.
    for (name, total) in
        [("bermuda", "4"), ("St. Augustine", "2.5"), ("zoysia", "1.5"), ("bahia", "1"), ("centipede", "0.5")]
    {
        near(named(&format!("North Carolina, {name}")).most(), total, "0");
    }
    let fescue = named("North Carolina, tall fescue and Kentucky bluegrass");
    near(fescue.least_without_optional(), "2.5", "0");
    near(fescue.most(), "3", "0");
    // February is whole in a leap year too.
    assert_eq!(
        (fits(fescue, "2028-02-29", "1", "0"), fits(fescue, "2028-03-01", "1", "0")),
        (Ok(()), Err(Misfit::NoStep))
    );
}

#[test]
fn c56_virginia_month_and_year() {
    // Virginia DCR, read: September at most 0.9, the year at most 3.5.
    let virginia = named("Virginia, cool-season, slow-release");
    assert_eq!(fits(virginia, "2026-09-15", "0.9", "0"), Ok(()));
    assert_eq!(fits(virginia, "2026-09-15", "0.91", "0"), Err(Misfit::AboveStep));
    assert_eq!(fits(virginia, "2026-09-15", "0.9", "2.6"), Ok(()));
    assert_eq!(fits(virginia, "2026-09-15", "0.9", "2.61"), Err(Misfit::AboveYear));
}

#[test]
fn c57_c134_shade() {
    // University of Connecticut, read: light 75 to 100 %, medium 25 to 75, heavy below 25; the printed 3,500 of 19,000 is
    // 18.4 %.
    assert_eq!(
        ["75", "50", "24", "18.4"].map(|light| Shade::of(amount(light))),
        [Shade::Light, Shade::Medium, Shade::Heavy, Shade::Heavy]
    );
    assert_eq!((3_500 * 1_000 + 9_500) / 19_000, 184);
    // Illinois, Lawn Talk, read; computed: 3 lb in the sun is 1.5 in the shade. Clippings: 25 % by Idaho and North Carolina.
    near(Credits::DEFAULT.off_rounded_down(amount("3"), false, true), "1.5", "0");
    near(Credits::DEFAULT.off_rounded_down(amount("3"), true, false), "2.25", "0");
    near(Credits::DEFAULT.off_rounded_down(amount("3"), false, false), "3", "0");
}

#[test]
fn c62_growing_degree_days() {
    // Virginia Tech, read in a copy: 75 and 27 °F above 50 are 1; computed: 60 and 30 are 0. Exact.
    let days = |high: &str, low: &str| growing_degree_hundredths(amount(high), amount(low), amount("50"));
    assert_eq!((days("75", "27"), days("60", "30")), (100, 0));
}

#[test]
fn c66_heat_index() {
    // National Weather Service formula, read as quoted; values computed: 90 °F at 70 % is 105.9, 96 at 50 % 107.6, 86 at 90 %
    // 105.4; 60 at 50 % takes the simple branch.
    for (air, humidity, tenths) in [("90", 70, 1_059), ("96", 50, 1_076), ("86", 90, 1_054)] {
        close(heat_index_tenths(amount(air), humidity), tenths, 1);
    }
    assert!(heat_index_tenths(amount("60"), 50) < 800);
}

#[test]
fn c93_maryland_s_two_limits() {
    // University of Maryland, read; values computed: all soluble 0.7 may, 0.8 may not; a fifth slow 0.9 may, 1.0 may not, and
    // the 0.72 lb quick of that 0.9 is judged by the state's own rule.
    let book = crate::cases::without_bars();
    let capped = |rate: &str, slow: &str| {
        let given = Given {
            n: Some("20".to_owned()),
            slow_n: Some(slow.to_owned()),
            n_rate: Some(rate.to_owned()),
            ..Given::default()
        };
        let decision = decide(book, &["us-md".to_owned()], &given.facts(day("2026-09-15")));
        decision.findings.iter().any(|finding| finding.outcome == Outcome::Broken && finding.verdict == Verdict::Stop)
    };
    assert!(!capped("0.7", "0") && capped("0.8", "0"));
    assert!(!capped("0.9", "6") && capped("1", "6"));
}

#[test]
fn c120_c121_maryland_schedule() {
    // University of Maryland, read; sums computed.
    let fescue = named("Maryland, tall fescue and Kentucky bluegrass");
    near(fescue.most(), "2.7", "0");
    near(fescue.most_without_optional(), "1.8", "0");
    near(fescue.least_without_optional(), "1.4", "0");
    for (name, most) in [("fine fescue", "1.4"), ("zoysia", "1.8"), ("bermuda", "2.7")] {
        near(named(&format!("Maryland, {name}")).most(), most, "0");
    }
    assert_eq!(fits(fescue, "2026-07-10", "0.5", "0"), Err(Misfit::NoStep));
    assert_eq!(
        (fits(fescue, "2026-11-15", "0.9", "0"), fits(fescue, "2026-11-16", "0.9", "0")),
        (Ok(()), Err(Misfit::NoStep))
    );
}

#[test]
fn c122_c123_iowa_and_kansas() {
    // Iowa State, read: three, two or one application of 1 lb, none in July. Kansas State, read in a newspaper: 4.0 the ceiling.
    for (name, total) in [("three applications", "3"), ("two applications", "2"), ("one application", "1")] {
        let iowa = named(&format!("Iowa, bluegrass, {name}"));
        near(iowa.most(), total, "0");
        assert_eq!(fits(iowa, "2026-07-10", "1", "0"), Err(Misfit::NoStep));
    }
    let kansas = named("Kansas, cool-season, high");
    near(kansas.most(), "4", "0");
    assert_eq!(fits(kansas, "2026-06-20", "0.5", "4"), Err(Misfit::AboveYear));
}

#[test]
fn c124_c126_first_and_last_nitrogen() {
    use NitrogenSeason::{FloridaMarion, Indiana, Iowa, Minnesota, NorthDakota};
    // Minnesota, Purdue and Iowa State, read; North Dakota, read in a copy.
    let october = day("2026-10-20");
    assert_eq!([Minnesota, Indiana, Iowa].map(|state| state.advises(october)), [false, true, true]);
    let september = day("2026-09-20");
    assert_eq!([NorthDakota, Minnesota].map(|state| state.advises(september)), [false, true]);
    // Marion County, Florida, read in a copy.
    let marion = ["2026-03-14", "2026-03-15", "2026-10-01", "2026-10-02"].map(|on| FloridaMarion.advises(day(on)));
    assert_eq!(marion, [false, true, true, false]);
    // Maryland's November 15 (read) is C121.
    assert!(
        NitrogenSeason::Maryland.advises(day("2026-11-15")) && !NitrogenSeason::Maryland.advises(day("2026-11-16"))
    );
}

#[test]
fn c125_before_the_first_freeze() {
    // Rules read or read in a copy, as `BeforeFreeze` says; dates computed for a first freeze on November 15.
    let days = |rule: BeforeFreeze| rule.days(day("2026-11-15"));
    assert_eq!(days(BeforeFreeze::GeorgiaLastFeeding).1, day("2026-10-15"));
    assert_eq!(days(BeforeFreeze::TexasLastFeeding).1, day("2026-10-04"));
    assert_eq!(days(BeforeFreeze::FloridaPotassium).1, day("2026-10-15"));
    assert_eq!(days(BeforeFreeze::ClemsonPotassium), (day("2026-10-04"), day("2026-10-18")));
}

#[test]
fn c127_what_was_missed_is_not_doubled() {
    // Washington State, read in a newspaper: with June missed, September is still 1 lb.
    let washington = named("Washington State, east side");
    assert_eq!(fits(washington, "2026-09-01", "1", "1"), Ok(()));
    assert_eq!(fits(washington, "2026-09-01", "2", "1"), Err(Misfit::AboveStep));
}

#[test]
fn c128_c129_c130_c131_weather() {
    // Cornell, older page, rule read: ten days below 50 °F; values computed.
    let ten = |mean: &str| vec![amount::<domain::quantity::Fahrenheit>(mean); 10];
    assert!(late_autumn_feeding_may_begin(&ten("49"), false) && !late_autumn_feeding_may_begin(&ten("51"), false));
    assert!(!late_autumn_feeding_may_begin(&ten("49"), true) && !late_autumn_feeding_may_begin(&ten("49")[1..], false));
    // Purdue, Fall Fertilization, read; values computed.
    let high = |text: &str| september_feeding_may_go_down(amount::<domain::quantity::Fahrenheit>(text));
    assert!(high("88") && !high("92") && !high("90"));
    // The EPA statement that Clemson quotes, read; values computed.
    assert!(within_quoted_drift_statement(amount("9")) && !within_quoted_drift_statement(amount("10")));
    // National Weather Service, read.
    let cold = ["37", "36", "32", "28"].map(|text| Cold::of(amount::<domain::quantity::Fahrenheit>(text)));
    assert_eq!(cold, [Cold::None, Cold::Frost, Cold::Freeze, Cold::HardFreeze]);
    assert_eq!(Cold::of(Temperature::from_raw(320)), Cold::Freeze);
}

#[test]
fn c135_age_of_a_report() {
    // Washington State, Phosphorus and Home Lawns, read in a copy: a report of 37 months supports no phosphorus, one of 36
    // does. The rule is Washington's law in the rule sets.
    let book = crate::cases::without_bars();
    let broken = |sampled: &str| {
        let report = crate::facts::Report {
            sampled_on: sampled.parse().expect("a day"),
            category: Some(domain::soil::SoilCategory::Low),
            recommended: None,
        };
        let given = Given {
            p2o5: Some("10".to_owned()),
            n: Some("10".to_owned()),
            soil_reports: vec![report],
            ..Given::default()
        };
        decide(book, &["us-wa".to_owned()], &given.facts(day("2026-06-15"))).verdict
    };
    assert_eq!(broken("2023-05-14"), Verdict::Stop);
    assert_ne!(broken("2023-06-16"), Verdict::Stop);
}

#[test]
fn every_programme_names_its_source() {
    for programme in PUBLISHED {
        assert!(!programme.source.is_empty() && !programme.species.is_empty(), "{}", programme.name);
        assert!(programme.steps.iter().all(|step| step.from <= step.to), "{}", programme.name);
    }
}

#[test]
fn a_level_takes_from_the_steps_that_the_source_prints() {
    // University of Maryland and Kansas State (in a newspaper), read; sums computed. Which steps a level takes is common
    // practice. Kansas prints at most 4.0 lb and steps of 4.0 with the optional one of 0.5 at most.
    use Maintenance::{High, Low, Medium};
    let at = |name: &str| [Low, Medium, High].map(|level| named(name).at_level(level).to_string());
    assert_eq!(at("Maryland, tall fescue and Kentucky bluegrass"), ["1.4", "1.8", "2.7"]);
    assert_eq!(at("Maryland, zoysia"), ["0.7", "0.9", "1.8"]);
    assert_eq!(at("Kansas, cool-season, high")[2], "4");
    for programme in PUBLISHED {
        let [low, medium, high] = [Low, Medium, High].map(|level| programme.at_level(level));
        assert!(low <= medium && medium <= high && high <= programme.most(), "{}", programme.name);
        assert!(programme.year_at_most().is_none_or(|most| high <= most), "{}", programme.name);
    }
}

#[test]
fn a_need_is_what_the_source_says_less_what_is_spared_and_spent() {
    let sampled_on = day("2025-10-02");
    let nothing = Spent { nitrogen: NutrientRate::ZERO, phosphate: NutrientRate::ZERO, potash: NutrientRate::ZERO };
    let asked = NeedQuestion {
        nitrogen: NitrogenSource::Entered(amount("3"), "Illinois, Lawn Talk"),
        phosphate: OtherSource::Report(amount("0.5"), "Sample Laboratory", sampled_on),
        potash: OtherSource::Nowhere,
        clippings_left: Some(false),
        shade: Some(Shade::Medium),
        credits: Credits::DEFAULT,
        spent: nothing,
    };
    // C134: Illinois, Lawn Talk, read; computed: 3 lb in the sun is 1.5 in the shade.
    let shaded = reckon(&asked);
    assert_eq!(shaded.nitrogen.still_lb_per_1000_sqft, amount("1.5"));
    assert_eq!(shaded.phosphate.still_lb_per_1000_sqft, amount("0.5"));
    // Potash that nobody recommends is named and not guessed.
    assert_eq!(shaded.potash.still_lb_per_1000_sqft, NutrientRate::ZERO);
    assert!(shaded.gaps.len() == 1 && shaded.gaps[0].contains("K2O"), "{:?}", shaded.gaps);
    // What was put down counts, and more than the need leaves nothing, not less.
    let spent = Spent { nitrogen: amount("0.9"), phosphate: amount("0.7"), potash: amount("1") };
    let later = reckon(&NeedQuestion { spent, ..asked });
    assert_eq!(later.nitrogen.still_lb_per_1000_sqft, amount("0.6"));
    assert_eq!(later.phosphate.still_lb_per_1000_sqft, NutrientRate::ZERO);
    // What nobody has said takes nothing off, and is named.
    let unsaid = reckon(&NeedQuestion { clippings_left: None, shade: None, ..asked });
    assert_eq!(unsaid.nitrogen.still_lb_per_1000_sqft, amount("3"));
    assert_eq!(unsaid.gaps.len(), 3);
    assert_eq!((unsaid.nitrogen.derivation.result.as_str(), unsaid.nitrogen.derivation.inputs.len()), ("3", 4));
}
