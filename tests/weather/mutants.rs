//! Answers of the public service, changed at random: whatever a service, a cache or a forger makes of them, nobody panics, and no
//! change makes what was unknown known or a stop a go.
//!
//! Each case begins with documents that clear the hour, or with some that stop it in one place, and changes them a few times. The
//! changes are of a kind that says nothing honest about the weather: members lost, of another type, of another place, of another
//! time, out of order, twice, in units nobody knows, beyond all numbers. A change that *is* an honest word, such as a lower
//! temperature in a known unit or an alert that is called off, is not made. `PROPTEST_CASES` asks for more cases and
//! `PROPTEST_RNG_SEED` for others; a failure names its seed.

use domain::{
    application::{Audience, Purpose},
    decision::{Verdict, judge_hours},
    equipment::Equipment,
    facts::Facts,
    law::Lawbook,
    product::Label,
    time::{Day, Instant},
    weather::{Weather, reported::Reported, series::Span},
};
use serde_json::{Value, json};
use server::weather::{
    Place,
    said::{self, Asked, Lists},
};

use super::fake_weather::{NOW, alert_list, calm_grid, calm_observation, flood_watch, law, moved};

/// Cases when nobody asks for more: some seconds.
const CASES: usize = 4_000;
const SEED: u64 = 0x5EED_2026;

/// The documents of a place, in the order in which they are asked for.
const POINT: usize = 0;
const GRID: usize = 1;
const STATIONS: usize = 2;
const OBSERVATION: usize = 3;
const LISTS: [usize; 3] = [4, 5, 6];

type Documents = [Value; 7];

fn here() -> Place {
    Place::new(38.97, -76.49)
}

fn now() -> Instant {
    Instant::parse(NOW).unwrap()
}

fn calm() -> Documents {
    let parsed = |name: &str| serde_json::from_str::<Value>(&moved(name)).unwrap();
    let list = |title: &str| {
        let mut list = alert_list(&[flood_watch(&json!({ "id": "urn:oid:noted", "event": "Rip Current Statement" }))]);
        list["title"] = json!(format!("Current watches, warnings, and advisories for {title}"));
        list
    };
    [
        parsed("nws-points.json"),
        calm_grid(),
        parsed("nws-stations.json"),
        calm_observation(),
        list("38.97 N, 76.49 W"),
        list("Sample County (FLC095) FL"),
        list("Sample (FLZ045) FL"),
    ]
}

/// Documents that stop the hour, and the one that bears the stop.
fn stopping(dice: &mut Dice) -> (Documents, usize) {
    let mut documents = calm();
    let bearer = match dice.below(3) {
        0 => {
            documents[GRID]["properties"]["temperature"]["values"][0]["value"] = json!(31.5);
            GRID
        }
        1 => {
            documents[GRID]["properties"]["quantitativePrecipitation"]["values"][0]["value"] = json!(90);
            documents[GRID]["properties"]["quantitativePrecipitation"]["values"][0]["validTime"] =
                json!("2026-10-06T15:00:00+00:00/PT6H");
            GRID
        }
        _ => {
            let list = LISTS[dice.below(3)];
            documents[list]["features"].as_array_mut().unwrap().push(flood_watch(&json!({})));
            list
        }
    };
    (documents, bearer)
}

/// Numbers that anybody can make again from the seed (`SplitMix64`, which is in the public domain).
struct Dice(u64);

impl Dice {
    fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.roll() % u64::try_from(end).unwrap()).unwrap()
    }
}

/// Where a value stands in a document.
type Steps = Vec<String>;

/// Every value of a document but the whole of it.
fn places(value: &Value, at: &[String], found: &mut Vec<Steps>) {
    let mut inside = |step: String, value: &Value| {
        let mut at = at.to_vec();
        at.push(step);
        found.push(at.clone());
        places(value, &at, found);
    };
    match value {
        Value::Object(members) => members.iter().for_each(|(name, value)| inside(name.clone(), value)),
        Value::Array(items) => items.iter().enumerate().for_each(|(at, value)| inside(at.to_string(), value)),
        _ => {}
    }
}

fn pointer(at: &[String]) -> String {
    at.iter().map(|step| format!("/{}", step.replace('~', "~0").replace('/', "~1"))).collect()
}

/// Puts a member into an object, if it still is one.
fn set(document: &mut Value, object: &str, name: &str, value: Value) {
    if let Some(Value::Object(members)) = document.pointer_mut(object) {
        members.insert(name.to_owned(), value);
    }
}

/// What takes a value's place. None of it is a word that weather has. What JSON of this language cannot hold stands for itself until it
/// is written.
fn junk(dice: &mut Dice) -> Value {
    let all = [
        Value::Null,
        json!(true),
        json!({}),
        json!(-99_999),
        json!("x"),
        json!(""),
        json!("2026-13-40T99:00:00Z"),
        json!("P1Y"),
        json!("__HUGE__"),
        json!("__DEEP__"),
        json!("\u{202e}\u{0}\u{ffff}"),
        json!("9".repeat(5_000)),
        json!([[], [null], [[0]]]),
    ];
    all[dice.below(all.len())].clone()
}

fn written(document: &Value) -> String {
    let text = document.to_string().replace("\"__HUGE__\"", "1e999999999");
    if text.contains("__DEEP__") { text.replace("\"__DEEP__\"", &"[".repeat(3_000)) } else { text }
}

/// What was done, and whether it leaves the document unable to clear.
struct Change {
    what: String,
    hides: bool,
}

/// Loses a value, or puts junk in its place.
fn spoil(documents: &mut Documents, of: usize, dice: &mut Dice) -> Change {
    let mut all = Vec::new();
    places(&documents[of], &[], &mut all);
    // An entry that is taken out whole, and an end that lies behind, are honest words.
    all.retain(|at| !(at.first().is_some_and(|first| first == "features") && at.len() == 2));
    let at = all[dice.below(all.len())].clone();
    let lost = dice.below(2) == 0;
    let (name, parent) = at.split_last().unwrap();
    let bad = junk(dice);
    let home = documents[of].pointer_mut(&pointer(parent)).unwrap();
    match home {
        Value::Object(members) if lost => drop(members.remove(name)),
        Value::Object(members) => drop(members.insert(name.clone(), bad.clone())),
        Value::Array(items) => items[name.parse::<usize>().unwrap()] = bad.clone(),
        _ => unreachable!("a value stands in an object or an array"),
    }
    let needed = match of {
        GRID => !at.contains(&"probabilityOfPrecipitation".to_owned()) && at.len() > 1,
        4..=6 => at.len() == 1 && at[0] != "pagination",
        _ => false,
    };
    // A null layer is none, and a null value is no value; a list that is spoilt by "[...]" as a whole is still one.
    let what = format!("{} {}", if lost { "lost" } else { "spoilt" }, pointer(&at));
    Change {
        what: if lost { what } else { format!("{what}: {}", bad.to_string().chars().take(40).collect::<String>()) },
        hides: needed,
    }
}

/// Makes a document one of another place.
fn misplace(documents: &mut Documents, of: usize, dice: &mut Dice) -> Change {
    let others = ["LWX", "ABC"];
    let what = match of {
        POINT => {
            set(&mut documents[POINT], "/geometry", "coordinates", json!([-81.3789, 28.5384]));
            "another point".to_owned()
        }
        GRID => {
            let name = ["gridId", "gridX", "gridY"][dice.below(3)];
            let other = if name == "gridId" { json!(others[dice.below(2)]) } else { json!(dice.below(20)) };
            set(&mut documents[GRID], "/properties", name, other);
            format!("another {name}")
        }
        STATIONS => {
            for station in documents[STATIONS].get_mut("features").and_then(Value::as_array_mut).into_iter().flatten() {
                set(station, "/geometry", "coordinates", json!([-95, 39]));
            }
            "stations of elsewhere".to_owned()
        }
        OBSERVATION => {
            set(&mut documents[OBSERVATION], "/properties", "station", json!("https://api.weather.gov/stations/KZZZ"));
            "another station".to_owned()
        }
        list => {
            let titles = ["28.5384 N, 81.3789 W", "Orange (FLC097) FL", "Florida", ""];
            set(&mut documents[list], "", "title", json!(titles[dice.below(titles.len())]));
            "another list's title".to_owned()
        }
    };
    Change { what, hides: of == POINT || of == GRID || of >= LISTS[0] }
}

/// Makes a document one of another time.
fn age(documents: &mut Documents, of: usize, dice: &mut Dice) -> Change {
    let days = ["2026-09-26", "2026-10-01", "2026-10-03", "2026-10-07", "2027-01-01", "1995-01-01"];
    let day = days[dice.below(days.len())];
    let at = json!(format!("{day}T14:30:00+00:00"));
    match of {
        GRID => set(&mut documents[GRID], "/properties", "updateTime", at),
        OBSERVATION => set(&mut documents[OBSERVATION], "/properties", "timestamp", at),
        4..=6 => set(&mut documents[of], "", "updated", at),
        _ => return Change { what: "nothing".to_owned(), hides: false },
    }
    Change { what: format!("made on {day}"), hides: of == GRID || of >= LISTS[0] }
}

/// Says that there is more, in another order, twice, or in a unit that nobody knows.
fn rearrange(documents: &mut Documents, of: usize, dice: &mut Dice) -> Change {
    let document = &mut documents[of];
    match (of, dice.below(4)) {
        (4..=6, 0) => {
            set(document, "", "pagination", json!({ "next": "https://api.weather.gov/alerts/active?cursor=x" }));
            return Change { what: "a next page".to_owned(), hides: true };
        }
        (GRID, 1) => {
            let layers = ["temperature", "windSpeed", "windGust", "quantitativePrecipitation"];
            let units = ["wmoUnit:furlong", "", "wmoUnit:Pa", "degc"];
            let (layer, unit) = (layers[dice.below(layers.len())], units[dice.below(units.len())]);
            set(document, &format!("/properties/{layer}"), "uom", json!(unit));
            return Change { what: format!("{layer} in {unit}"), hides: true };
        }
        (GRID, _) => {
            let layers = ["temperature", "windSpeed", "windGust", "quantitativePrecipitation"];
            let layer = layers[dice.below(layers.len())];
            let values = document.pointer_mut(&format!("/properties/{layer}/values")).and_then(Value::as_array_mut);
            let Some(values) = values.filter(|values| !values.is_empty()) else {
                return Change { what: "nothing".to_owned(), hides: false };
            };
            values.push(values[0].clone());
            return Change { what: format!("{layer} twice"), hides: true };
        }
        _ => {}
    }
    let mut what = "nothing";
    if let Some(entries) =
        document.get_mut("features").and_then(Value::as_array_mut).filter(|entries| !entries.is_empty())
    {
        if dice.below(2) == 0 {
            entries.reverse();
            what = "in another order";
        } else {
            entries.extend_from_within(..);
            what = "twice";
        }
    }
    Change { what: what.to_owned(), hides: false }
}

/// Takes an alert's own words for what would make it go away, in a way that is none of the protocol's.
fn belittle(documents: &mut Documents, of: usize, dice: &mut Dice) -> Change {
    let nothing = || Change { what: "nothing".to_owned(), hides: false };
    let Some(entries) = documents[of]
        .get_mut("features")
        .and_then(Value::as_array_mut)
        .filter(|entries| of >= LISTS[0] && !entries.is_empty())
    else {
        return nothing();
    };
    let at = dice.below(entries.len());
    let Some(alert) = entries[at].pointer_mut("/properties").filter(|alert| alert.is_object()) else {
        return nothing();
    };
    let (name, value) = [
        ("status", json!("actual")),
        ("status", json!("TEST")),
        ("messageType", json!("cancel")),
        ("ends", json!("2020-01-01T00:00:00+00:00")),
        ("ends", json!("2026-10-06T13:20:00+00:00")),
        ("parameters", json!({ "VTEC": ["/O.CAN/", "", null] })),
        ("severity", json!("Minor")),
        ("sent", json!("2026-10-06T14:19:00+00:00")),
    ][dice.below(8)]
    .clone();
    alert[name] = value.clone();
    let id = alert.get("id").cloned();
    // And one of another hazard, which has ended, names it.
    let other = json!({
        "id": "urn:oid:other", "event": "Heat Advisory", "messageType": "Update", "sent": "2026-10-06T14:10:00+00:00",
        "ends": "2026-10-06T14:15:00+00:00", "references": [{ "identifier": id }],
    });
    if dice.below(2) == 0 {
        entries.push(flood_watch(&other));
    }
    Change { what: format!("{name} {value}"), hides: false }
}

/// What the service's documents say together, as the server reads them.
fn reported(bodies: &[String; 7]) -> Reported {
    let (at, place) = (now(), here());
    let body = |of: usize| bodies[of].as_bytes();
    let mut told = Reported::default();
    let point = said::point(body(POINT), place).value;
    if let Some(cell) = point.as_ref().and_then(|point| point.grid.as_ref()) {
        told.forecast = said::forecast(body(GRID), at, cell, place, at).value;
        let stations = said::stations(body(STATIONS), place).value.unwrap_or_default();
        let measured = stations.first().and_then(|first| said::measured(body(OBSERVATION), at, first, at).value);
        if let Some(measured) = measured {
            (told.observation, told.doubted) = (measured.observation, measured.doubted);
        }
    }
    let mut lists = Lists::default();
    let codes = point.map(|point| (point.county, point.zone)).unwrap_or_default();
    let asked = [Some(Asked::Point(place)), codes.0.as_deref().map(Asked::Zone), codes.1.as_deref().map(Asked::Zone)];
    for (of, asked) in LISTS.into_iter().zip(asked) {
        let Some(asked) = asked else { continue };
        if let Some((words, whole)) = said::alerts(body(of), asked, at).value {
            lists.add(words, whole, at);
        }
    }
    told.alerts = lists.list();
    told
}

struct Judge {
    law: Lawbook,
    facts: Facts,
}

impl Judge {
    fn new() -> Self {
        let label: Label = serde_json::from_value(harness::world::label("24", "7.2", "0", "10")).unwrap();
        let facts = Facts {
            on: Day::parse("2026-10-06").unwrap(),
            at: now(),
            audience: Audience::Professional,
            credentials: Vec::new(),
            purpose: Purpose::Maintenance,
            equipment: Equipment::RotarySpreader,
            label,
            weather: Weather::default(),
            ground: None,
            pavement_cleaned: None,
            lines: Vec::new(),
        };
        Self { law: law(), facts }
    }

    fn verdict(&self, bodies: &[String; 7]) -> Verdict {
        let hour = [Span::hours_from(now(), 1)];
        let judged = judge_hours(&self.law, &["us-md".to_owned()], &self.facts, &[&reported(bodies)], &hour, now());
        judged[0].verdict
    }
}

#[expect(clippy::disallowed_methods, reason = "the environment tells a test how long it may take")]
fn asked_for(name: &str) -> Option<u64> {
    std::env::var(name).ok()?.parse().ok()
}

fn seed() -> u64 {
    asked_for("PROPTEST_RNG_SEED").unwrap_or(SEED)
}

fn cases() -> usize {
    asked_for("PROPTEST_CASES").and_then(|cases| usize::try_from(cases).ok()).unwrap_or(CASES)
}

/// Changes a document once or a few times.
fn mutate(documents: &mut Documents, of: usize, dice: &mut Dice) -> Vec<Change> {
    let change = [spoil, misplace, age, rearrange, belittle][dice.below(5)];
    vec![change(documents, of, dice)]
}

#[test]
fn documents_that_nobody_changed_clear_or_stop() {
    let judge = Judge::new();
    assert_eq!(judge.verdict(&calm().map(|document| written(&document))), Verdict::Go);
    for case in 0..50 {
        let (documents, bearer) = stopping(&mut Dice(case));
        assert_eq!(judge.verdict(&documents.map(|document| written(&document))), Verdict::Stop, "{bearer}");
    }
}

#[test]
fn what_was_hidden_from_a_calm_sky_clears_nothing() {
    let judge = Judge::new();
    let mut hidden = 0;
    for case in 0..cases() {
        let seed = seed().wrapping_add(u64::try_from(case).unwrap());
        let (mut dice, mut documents) = (Dice(seed), calm());
        let of = dice.below(7);
        let changes = mutate(&mut documents, of, &mut dice);
        let verdict = judge.verdict(&documents.map(|document| written(&document)));
        let told: Vec<&str> = changes.iter().map(|change| change.what.as_str()).collect();
        assert_ne!(verdict, Verdict::Stop, "seed {seed}, document {of}: {told:?} stops what nothing stops");
        if changes.iter().any(|change| change.hides) {
            hidden += 1;
            assert_eq!(verdict, Verdict::Care, "seed {seed}, document {of}: {told:?} clears");
        }
    }
    assert!(hidden * 4 > cases(), "the test must hide something: {hidden} of {}", cases());
}

#[test]
fn no_change_makes_a_go_of_a_stop() {
    let judge = Judge::new();
    for case in 0..cases() {
        let seed = seed().wrapping_add(u64::try_from(case).unwrap());
        let mut dice = Dice(seed);
        let (mut documents, bearer) = stopping(&mut dice);
        let mut told = Vec::new();
        let mut changed = std::collections::HashSet::new();
        for _ in 0..=dice.below(3) {
            let of = dice.below(7);
            changed.insert(of);
            // What was spoilt before may have nothing left to change.
            if documents[of].is_object() {
                told.extend(
                    mutate(&mut documents, of, &mut dice).into_iter().map(|change| format!("{of}: {}", change.what)),
                );
            }
        }
        let verdict = judge.verdict(&documents.map(|document| written(&document)));
        assert_ne!(verdict, Verdict::Go, "seed {seed}: {bearer} stopped, then {told:?}");
        if !changed.contains(&bearer) && !changed.contains(&POINT) {
            assert_eq!(verdict, Verdict::Stop, "seed {seed}: {bearer} stops whatever becomes of the others: {told:?}");
        }
    }
}

/// A body that is cut or garbled at any byte.
#[test]
fn cut_and_garbled_bodies_are_no_accident() {
    let judge = Judge::new();
    let whole = calm().map(|document| written(&document));
    let mut dice = Dice(seed());
    for case in 0..cases() / 4 {
        let (mut bodies, of) = (whole.clone(), dice.below(7));
        let end = dice.below(bodies[of].len());
        bodies[of].truncate((0..=end).rev().find(|end| bodies[of].is_char_boundary(*end)).unwrap());
        let verdict = judge.verdict(&bodies);
        let needed = of != STATIONS && of != OBSERVATION;
        assert!(!needed || verdict == Verdict::Care, "case {case}: document {of} cut at {end}: {verdict:?}");
    }
}
