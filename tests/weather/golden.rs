//! The published golden values of the samples (`samples/expected.json`, worked out by another program), to the printed digit.

use domain::{
    time::{Day, Instant, zone},
    weather::{
        alert_list::{self, Dropped, Meaning},
        series::{Series, Span},
        value::Billionths,
    },
};
use serde_json::Value;
use server::weather::read;

use super::fake_weather::sample;

fn expected() -> Value {
    serde_json::from_str(&sample("expected.json")).unwrap()
}

fn grid(name: &str) -> read::Grid {
    read::grid(sample(name).as_bytes()).unwrap()
}

fn instant(text: &str) -> Instant {
    Instant::parse(text).unwrap()
}

fn now() -> Instant {
    instant("2026-06-18T14:20:00Z")
}

fn span(from: &str, to: &str) -> Span {
    Span { start: instant(from), end: instant(to) }
}

/// The work window of the samples: 10:30 to 15:00 in New York.
fn work() -> Span {
    span("2026-06-18T14:30:00Z", "2026-06-18T19:00:00Z")
}

/// A printed number without the zeros at its end, as the golden file has them.
fn printed(text: &str) -> String {
    if !text.contains('.') {
        return text.to_owned();
    }
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn golden(value: &Value) -> String {
    printed(&value.to_string())
}

fn total(rain: &Series, window: Span, expected: &Value) {
    let total = rain.total(window);
    for (name, value) in [("prorated", total.best), ("upper", total.upper), ("lower", total.lower)] {
        assert_eq!(printed(&value.to_digits(4)), golden(&expected[format!("{name}_mm")]), "{name} in mm");
        assert_eq!(printed(&value.inches().to_string()), golden(&expected[format!("{name}_in")]), "{name} in inches");
    }
    let coverage = Billionths::from_raw(total.coverage.ten_thousandths() * 100_000);
    assert_eq!(printed(&coverage.to_digits(4)), golden(&expected["coverage"]));
}

#[test]
fn rain_is_added_up_as_published() {
    let (expected, grid) = (expected(), grid("nws-gridpoints.json"));
    assert!(grid.faults.is_empty(), "{:?}", grid.faults);
    for hours in [12, 24, 48] {
        let window = Span::hours_from(now(), hours);
        total(&grid.rain, window, &expected["nws_gridpoints"][format!("qpf_{hours}h_from_now")]);
    }
}

/// The trap of taking totals for rates: each value times its hours.
#[test]
fn totals_are_not_rates() {
    let grid = grid("nws-gridpoints.json");
    let window = Span::hours_from(now(), 24);
    let naive = grid.rain.pieces().iter().fold(Billionths::from_raw(0), |sum, piece| {
        let hours = piece.span.overlap(window);
        piece.value.map_or(sum, |value| sum.plus(value.share(hours, 3_600_000)))
    });
    let wrong = golden(&expected()["nws_gridpoints"]["qpf_24h_naive_wrong_value_times_hours_mm"]);
    assert_eq!(printed(&naive.to_digits(2)), wrong);
    assert_ne!(printed(&grid.rain.total(window).best.to_digits(2)), wrong);
}

#[test]
fn the_greatest_values_of_the_work_window_are_as_published() {
    let (expected, grid) = (expected(), grid("nws-gridpoints.json"));
    let expected = &expected["nws_gridpoints"];
    let (warmest, coverage) = grid.temperature.greatest(work());
    let warmest = warmest.unwrap();
    assert!(coverage.is_whole());
    assert_eq!(printed(&warmest.to_digits(4)), golden(&expected["temperature_max_work_window"]["value"]));
    assert_eq!(warmest.fahrenheit_hundredths(), 8_500, "degF 85.0");
    assert_eq!(warmest.fahrenheit_up().to_string(), "85", "and it reaches a cutoff of 85");
    let wind = grid.wind.greatest(work()).0.unwrap();
    assert_eq!(printed(&wind.to_digits(4)), golden(&expected["windSpeed_max_work_window"]["value"]));
    assert_eq!(wind.mph().to_string(), golden(&expected["windSpeed_max_work_window"]["mph"]));
    let gust = grid.gust.greatest(work()).0.unwrap();
    assert_eq!(gust.mph().to_string(), golden(&expected["windGust_max_work_window"]["mph"]));
    let chance = grid.chance.greatest(work()).0.unwrap();
    assert_eq!(chance.to_digits(0), golden(&expected["probabilityOfPrecipitation_max_work_window"]["value"]));
}

/// An interval of 88 °F begins at 19:00Z, where the window ends.
#[test]
fn the_end_of_a_window_is_no_part_of_it() {
    let grid = grid("nws-gridpoints.json");
    let inclusive = Span { end: instant("2026-06-18T19:00:01Z"), ..work() };
    let hundredths = |window| grid.temperature.greatest(window).0.unwrap().fahrenheit_hundredths();
    assert_eq!((hundredths(work()), hundredths(inclusive)), (8_500, 8_800));
}

#[test]
fn what_is_not_there_is_unknown_and_not_calm() {
    let grid = grid("nws-gridpoints.json");
    let (gust, coverage) = grid.gust.greatest(span("2026-06-18T20:00:00Z", "2026-06-19T00:00:00Z"));
    assert_eq!((gust, coverage.ten_thousandths()), (None, 0));
    let (warmest, coverage) = grid.temperature.greatest(span("2026-06-19T11:00:00Z", "2026-06-19T15:00:00Z"));
    assert_eq!(warmest.unwrap().fahrenheit_hundredths(), 8_400);
    assert_eq!(coverage.ten_thousandths(), 7_500, "one hour of four is null");
}

#[test]
fn the_morning_after_the_change_of_clocks_has_its_frost() {
    let (expected, grid) = (expected(), grid("nws-gridpoints-dst-spring.json"));
    let expected = &expected["dst_spring"];
    let zone = zone("America/New_York").unwrap();
    let day = Day::parse("2026-03-08").unwrap();
    let clock = |hour| jiff::civil::Time::constant(hour, 0, 0, 0);
    let window = Span::of_clock(day, clock(8), clock(17), &zone).unwrap();
    let printed_at = |at: Instant| at.to_string().replace(".000Z", "+00:00");
    assert_eq!(printed_at(window.start), expected["utc_window_correct"][0].as_str().unwrap());
    assert_eq!(printed_at(window.end), expected["utc_window_correct"][1].as_str().unwrap());
    let ends = |window| {
        let of = |value: Option<Billionths>| {
            printed(&Billionths::from_raw(value.unwrap().fahrenheit_hundredths() * 10_000_000).to_digits(2))
        };
        (of(grid.temperature.least(window).0), of(grid.temperature.greatest(window).0))
    };
    assert_eq!(ends(window), (golden(&expected["min_degF"]), golden(&expected["max_degF"])));
    let wrong = span("2026-03-08T13:00:00Z", "2026-03-08T22:00:00Z");
    assert_eq!(ends(wrong), (golden(&expected["wrong_min_degF"]), golden(&expected["wrong_max_degF"])));
    let whole = Span::of_day(day, &zone);
    assert_eq!(whole.seconds(), 23 * 3_600);
    total(&grid.rain, whole, &expected["qpf_local_day_mm"]);
}

#[test]
fn each_alert_is_kept_or_dropped_as_published() {
    let list = read::alerts(sample("nws-alerts-active.json").as_bytes()).unwrap();
    assert_eq!((list.unread, list.has_more), (0, false));
    let words = list.words;
    let fates = alert_list::sort(&words, now());
    let expected = expected();
    let golden = expected["alerts"]["per_alert"].as_array().unwrap();
    assert_eq!(golden.len(), fates.len());
    for ((word, fate), golden) in words.iter().zip(&fates).zip(golden) {
        assert_eq!(golden["event"], word.event);
        assert!(word.id.ends_with(golden["id_tail"].as_str().unwrap()));
        assert_eq!(golden["kept"], fate.is_ok(), "{}", word.event);
        assert_eq!(golden["blocks"], matches!(fate, Ok(Meaning::Named(_))), "{}", word.event);
        assert_eq!(golden["unknown_event_log"], matches!(fate, Ok(Meaning::UnknownCare)), "{}", word.event);
        let finish = Instant::parse(golden["finish"].as_str().unwrap()).unwrap();
        assert_eq!(alert_list::finish(word), Some(finish), "{}", word.event);
        let why = match fate {
            Ok(_) => Value::Null,
            Err(Dropped::NotActual) => "status Test".into(),
            Err(Dropped::Cancelled) => "Cancel".into(),
            Err(Dropped::Superseded) => "superseded by an Update".into(),
            Err(Dropped::Ended(_)) => "ended 2026-06-18T09:45:00-04:00".into(),
        };
        assert_eq!(golden["dropped_because"], why, "{}", word.event);
    }
}

/// 29.4 °C is 84.92 °F, and what the station measured was 85; 14.76 km/h is 9.17 mph.
#[test]
fn an_observation_is_read_as_published() {
    let expected = expected();
    let seen = read::observation(sample("nws-observation.json").as_bytes()).unwrap();
    let temperature = seen.temperature.unwrap();
    assert_eq!(temperature.fahrenheit_hundredths(), 8_492);
    assert_eq!(golden(&expected["observation"]["degF"]), "84.92");
    assert_eq!(temperature.fahrenheit_observed().to_string(), "85");
    assert_eq!(seen.wind.unwrap().mph().to_string(), golden(&expected["observation"]["wind_mph"]));
    assert_eq!((seen.gust, seen.rain_last_hour), (None, None), "null is unknown");
}

#[test]
fn what_a_station_leaves_out_or_its_service_refuses_is_not_known() {
    let null = read::observation(sample("nws-observation-null.json").as_bytes()).unwrap();
    assert_eq!(null.temperature, None);
    let refused = read::observation(sample("nws-observation-qc-rejected.json").as_bytes()).unwrap();
    assert_eq!(refused.temperature, None, "51.7 °C, marked X");
    assert_eq!(refused.doubted_temperature.unwrap().to_digits(1), "51.7");
    for (mark, kept) in
        [("Z", true), ("C", true), ("S", true), ("V", true), ("G", true), ("T", true), ("Q", false), ("B", false)]
    {
        let text = sample("nws-observation.json")
            .replace("\"qualityControl\": \"V\"", &format!("\"qualityControl\": \"{mark}\""));
        assert_eq!(read::observation(text.as_bytes()).unwrap().temperature.is_some(), kept, "{mark}");
    }
}

#[test]
fn a_point_at_sea_has_no_grid() {
    let sea = read::point(sample("nws-points-marine.json").as_bytes()).unwrap();
    assert_eq!((sea.grid, sea.county), (None, None));
    let land = read::point(sample("nws-points.json").as_bytes()).unwrap();
    assert_eq!(land.grid, Some(("MLB".to_owned(), 26, 68)));
    assert_eq!((land.county.as_deref(), land.zone.as_deref()), (Some("FLC095"), Some("FLZ045")));
    let without = sample("nws-points.json").replace("\"gridId\": \"MLB\"", "\"gridId\": null");
    assert_eq!(read::point(without.as_bytes()).unwrap().grid, None);
    let crooked = sample("nws-points.json").replace("\"gridId\": \"MLB\"", "\"gridId\": \"../x\"");
    assert_eq!(read::point(crooked.as_bytes()).unwrap().grid, None, "an answer must not change the path");
}

/// A layer that is missing, empty, in an unknown unit or with overlapping intervals is unknown; the others are read.
#[test]
fn a_layer_that_cannot_be_read_is_unknown_and_the_rest_is_read() {
    let text = sample("nws-gridpoints.json");
    let rain = |text: &str| {
        let grid = read::grid(text.as_bytes()).unwrap();
        assert!(grid.temperature.greatest(work()).0.is_some(), "the temperature is read all the same");
        (grid.rain.coverage(Span::hours_from(now(), 24)).covered, grid.faults.len())
    };
    assert_eq!(rain(&text).1, 0);
    assert_eq!(rain(&text.replace("quantitativePrecipitation", "somethingElse")), (0, 0));
    assert_eq!(rain(&text.replace("wmoUnit:mm", "wmoUnit:cubits")), (0, 1));
    let overlapping = text.replace(
        "2026-06-18T18:00:00+00:00/PT6H\",\n     \"value\": 20.32",
        "2026-06-18T16:00:00+00:00/PT6H\",\n     \"value\": 20.32",
    );
    assert_ne!(overlapping, text);
    assert_eq!(rain(&overlapping), (0, 1));
    assert!(read::grid(text.replace("updateTime", "updated").as_bytes()).is_none(), "nothing shows that it is new");
    assert!(read::alerts(b"{}").is_none(), "a list without features is none, not an empty one");
}
