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
    facts::{Facts, KeptDistances},
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

use super::{
    fake_weather::{NOW, alert_list, calm_grid, calm_observation, flood_watch, law, moved},
    mutation::{Change, Dice, Documents, GRID, LISTS, OBSERVATION, POINT, STATIONS, mutate, written},
};

/// Cases when nobody asks for more: some seconds.
const CASES: usize = 1_500;
const SEED: u64 = 0x5EED_2026;

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
            site: domain::facts::SiteFacts::LAWN,
            credentials: Vec::new(),
            supervision: domain::facts::Supervision::Unsaid,
            applicator_named: false,
            purpose: Purpose::Maintenance,
            equipment: Equipment::RotarySpreader,
            label,
            weather: Weather::default(),
            service_asked: true,
            ground: None,
            pavement_cleaned: None,
            kept: KeptDistances::default(),
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
        let Change { what, hides } = mutate(&mut documents, of, &mut dice);
        let verdict = judge.verdict(&documents.map(|document| written(&document)));
        assert_ne!(verdict, Verdict::Stop, "seed {seed}, document {of}: {what} stops what nothing stops");
        if hides {
            hidden += 1;
            assert_eq!(verdict, Verdict::Care, "seed {seed}, document {of}: {what} clears");
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
                told.push(format!("{of}: {}", mutate(&mut documents, of, &mut dice).what));
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
