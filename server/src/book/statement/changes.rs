//! What a reader of a statement must know of the facts behind it: what changed within the span, and what was entered about the
//! span after it had ended.

use std::collections::BTreeSet;

use domain::{land::Species, time::Day};
use jiff::tz::TimeZone;

use crate::{
    book::history::told,
    store::{
        history::StoredEntry,
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

/// What was entered about the span after it had ended.
fn entered_since(entries: &[StoredEntry], place: &str, span: Span, zone: &TimeZone) -> Vec<String> {
    let about = |since: Option<Day>| since.is_none_or(|day| day <= span.to);
    let entered = entries.iter().map(|entry| (&entry.view, entry.view.entered_at.day_in(zone)));
    let late = entered.filter(|(entry, on)| entry.entered_by.is_some() && *on > span.to && about(entry.since));
    let sentence = late.filter_map(|(entry, on)| {
        // Without a reason it is the first entry of a thing that was added later, and corrects nothing.
        let first = entry.since.is_none() && entry.corrects.is_none();
        let since = entry.since.map_or_else(|| "from the first day known".to_owned(), |day| format!("from {day} on"));
        let why = entry.reason.as_ref().map_or_else(String::new, |reason| format!(" Reason: {reason}"));
        let what = if entry.corrects.is_some() { "it was corrected" } else { "it was entered" };
        (!first).then(|| format!("{place}: on {on} {what} what stood {since}: {}.{why}", told(&entry.facts)))
    });
    sentence.collect()
}
