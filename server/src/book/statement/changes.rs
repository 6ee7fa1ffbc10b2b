//! What a reader of a statement must know of the facts behind it: what changed within the span, and what was entered about the
//! span after it had ended.

use std::collections::BTreeSet;

use domain::{dated::Facts, land::Species, time::Day};
use jiff::tz::TimeZone;

use crate::{
    book::history::{label, value_of},
    store::{
        history::{StoredEntry, history},
        statements::{Parts, SectionPart, Span},
    },
};

/// Changes of what decides the cap, and corrections since. Each is said once, however many sections it is about.
pub fn changes(parts: &Parts, span: Span, zone: &TimeZone) -> Vec<String> {
    let mut said = Vec::new();
    let mut seen = BTreeSet::new();
    for part in &parts.sections {
        said.extend(turf(part, span));
        if seen.insert(part.property_id.to_string()) {
            said.extend(places(part, span));
        }
    }
    seen.clear();
    for part in &parts.sections {
        let things = [
            (part.client_id.to_string(), "The client".to_owned()),
            (part.property_id.to_string(), part.address.clone()),
            (part.id.to_string(), format!("{}, {}", part.address, part.name)),
        ];
        for (id, place) in things.into_iter().filter(|(id, _)| seen.insert(id.clone())) {
            said.extend(entered_since(parts.histories.entries_of(&id), &place, span, zone));
        }
    }
    said
}

/// The turf, where it became another one within the span.
fn turf(part: &SectionPart, span: Span) -> Vec<String> {
    let name = |species: Option<Species>| species.map_or("not known", Species::label);
    let mut before = part.section.on(span.from).species;
    let mut said = Vec::new();
    for (day, state) in part.section.begun_within(span.from, span.as_of) {
        if state.species != before {
            said.push(format!(
                "{}, {}: from {day} on the turf is {}, before it was {}. The cap shown is that of the turf on {}.",
                part.address,
                part.name,
                name(state.species),
                name(before),
                span.as_of
            ));
            before = state.species;
        }
    }
    said
}

/// The rule sets, where others came to bind within the span.
fn places(part: &SectionPart, span: Span) -> Vec<String> {
    let names = |codes: &[String]| if codes.is_empty() { "none".to_owned() } else { codes.join(", ") };
    let mut before = part.property.on(span.from).rule_sets.clone();
    let mut said = Vec::new();
    for (day, state) in part.property.begun_within(span.from, span.as_of) {
        if state.rule_sets != before {
            said.push(format!(
                "{}: from {day} on the rule sets are {}, before they were {}. The cap shown is that of {}.",
                part.address,
                names(&state.rule_sets),
                names(&before),
                span.as_of
            ));
            before.clone_from(&state.rule_sets);
        }
    }
    said
}

/// What a statement names of a thing, told where it is otherwise than it was known when the span ended. Telephone, e-mail and
/// the like are no concern of its reader.
const NAMED: [&str; 6] = ["name", "mailing_address", "address", "rule_sets", "client_id", "species"];

/// What was entered after the span had ended and changes what the statement says of it.
fn entered_since(entries: &[StoredEntry], place: &str, span: Span, zone: &TimeZone) -> Vec<String> {
    let is_late = |entry: &StoredEntry| entry.view.entered_by.is_some() && entry.view.entered_at.day_in(zone) > span.to;
    let by_then: Vec<StoredEntry> = entries.iter().filter(|entry| !is_late(entry)).cloned().collect();
    // A thing that was added after the span had ended corrects nothing.
    if by_then.is_empty() || by_then.len() == entries.len() {
        return Vec::new();
    }
    let (known, now) = (history(&by_then), history(entries));
    let mut days: Vec<Day> = known.days().into_iter().chain(now.days()).collect();
    days.extend([span.from, span.to]);
    days.retain(|day| (span.from..=span.to).contains(day));
    days.sort_unstable();
    let told = NAMED.iter().filter_map(|name| {
        let differs = |day: &&Day| known.on(**day).get(*name) != now.on(**day).get(*name);
        let day = *days.iter().find(differs)?;
        let value = |facts: Facts| facts.get(*name).map_or_else(|| "none".to_owned(), |value| value_of(name, value));
        // The last that speaks of it, or whose place the last took, is what made it so.
        let speaks = |entry: &&StoredEntry| is_late(entry) && entry.view.facts.contains_key(*name);
        let entry = entries.iter().rev().find(speaks)?;
        let why = entry.view.reason.as_ref().map_or_else(String::new, |reason| format!(" Reason: {reason}"));
        Some(format!(
            "Corrected on {}: {place}: from {day} on, {}: {} (before the correction: {}).{why}",
            entry.view.entered_at.day_in(zone),
            label(name),
            value(now.on(day)),
            value(known.on(day))
        ))
    });
    told.collect()
}
