//! What a reader of a statement must know of the facts behind it: what changed within the span, and what was entered about the
//! span after it had ended.

use std::collections::BTreeSet;

use domain::{
    dated::Facts,
    land::Species,
    time::{Day, Instant},
};
use jiff::tz::TimeZone;
use serde_json::{Value, json};

use crate::{
    book::history::{label, unnamed, value_of},
    store::{
        history::{StoredEntry, history},
        statements::{MeasurementPart, Parts, PropertyPast, Said, SectionPart, SoilPart, Span},
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
        said.extend(grounds(part, span, zone));
        let things = [
            (part.client_id.to_string(), "The client".to_owned()),
            (part.property_id.to_string(), part.address.clone()),
            (part.id.to_string(), format!("{}, {}", part.address, part.name)),
        ];
        for (id, place) in things.into_iter().filter(|(id, _)| seen.insert(id.clone())) {
            said.extend(entered_since(parts.histories.entries_of(&id), &place, span, (zone, parts.limited)));
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

/// The rule sets, the kind of ground and who works there, where others came to bind within the span.
fn places(part: &SectionPart, span: Span) -> Vec<String> {
    let words = |state: &PropertyPast| {
        let named =
            [("rule_sets", json!(state.rule_sets)), ("kind", json!(state.kind)), ("worked_by", json!(state.worked_by))];
        named.map(|(name, value)| (label(name), value_of(name, &value)))
    };
    let mut before = words(part.property.on(span.from));
    let mut said = Vec::new();
    for (day, state) in part.property.begun_within(span.from, span.as_of) {
        let now = words(state);
        for ((what, value), (_, was)) in now.iter().zip(&before).filter(|(now, before)| now != before) {
            let (address, as_of) = (&part.address, span.as_of);
            said.push(format!(
                "{address}: from {day} on, {what}: {value} (before: {was}). The cap shown is that of {as_of}."
            ));
        }
        before = now;
    }
    said
}

/// What a statement names of a thing, told where it is otherwise than it was known when the span ended. Telephone, e-mail and
/// the like are no concern of its reader.
const NAMED: [&str; 9] = [
    "name",
    "mailing_address",
    "address",
    "rule_sets",
    "kind",
    "worked_by",
    "nutrient_plan_on",
    "client_id",
    "species",
];

/// What was entered after the span had ended and changes what the statement says of it. Why a property became another client's may
/// name the former one, so whoever does not see the whole company is not told that.
fn entered_since(
    entries: &[StoredEntry],
    place: &str,
    span: Span,
    (zone, limited): (&TimeZone, bool),
) -> Vec<String> {
    let is_late = |entry: &StoredEntry| entry.view.entered_by.is_some() && entry.view.entered_at.day_in(zone) > span.to;
    let by_then: Vec<StoredEntry> = entries.iter().filter(|entry| !is_late(entry)).cloned().collect();
    if by_then.len() == entries.len() {
        return Vec::new();
    }
    // A thing that was added after the span had ended corrects nothing: what it was entered with has no reason. What was learned of
    // it later, or corrected, has one and is told.
    let as_entered = || entries.iter().filter(|entry| entry.view.reason.is_none()).cloned().collect();
    let by_then: Vec<StoredEntry> = if by_then.is_empty() { as_entered() } else { by_then };
    let (known, now) = (history(&by_then), history(entries));
    let mut days: Vec<Day> = known.days().into_iter().chain(now.days()).collect();
    days.extend([span.from, span.to]);
    days.retain(|day| (span.from..=span.to).contains(day));
    days.sort_unstable();
    let told = NAMED.iter().filter_map(|name| {
        // What the entries of an older book do not name means what everything was brought over as.
        let said = |facts: Facts| facts.get(*name).cloned().or_else(|| unnamed(name));
        let differs = |day: &&Day| said(known.on(**day)) != said(now.on(**day));
        let day = *days.iter().find(differs)?;
        let value = |facts: Facts| said(facts).map_or_else(|| "none".to_owned(), |value| value_of(name, &value));
        let entry = made_so(entries, &by_then, |entries| said(history(entries).on(day)))?;
        let tells = !limited || !entry.view.facts.contains_key("client_id");
        let why = entry.view.reason.as_ref().filter(|_| tells);
        let why = why.map_or_else(String::new, |reason| format!(" Reason: {reason}"));
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

/// The entry that made something of a day what it is: the last of those that were not known then which changed it. What was entered
/// since about other days, and what says the same again, made nothing so.
fn made_so<'e>(
    entries: &'e [StoredEntry],
    known: &[StoredEntry],
    said: impl Fn(&[StoredEntry]) -> Option<Value>,
) -> Option<&'e StoredEntry> {
    let mut told = known.to_vec();
    let (mut stood, mut made) = (said(&told), None);
    for entry in entries.iter().filter(|entry| known.iter().all(|one| one.seq != entry.seq)) {
        told.push(entry.clone());
        let now = said(&told);
        if now != stood {
            (stood, made) = (now, Some(entry));
        }
    }
    made
}

/// Area and soil sample, where they are others than they were known when the span ended. Of a section that was added later, others than
/// they were entered with it, on its first day.
fn grounds(part: &SectionPart, span: Span, zone: &TimeZone) -> Vec<String> {
    let is_late = |at: Instant| at.day_in(zone) > span.to;
    let (was_there, first_day) = (!is_late(part.created_at), part.created_at.day_in(zone));
    let entered_with_it = |said: &Said| !said.corrects && said.at.day_in(zone) <= first_day;
    let known = |said: &Said| if was_there { !is_late(said.at) } else { entered_with_it(said) };
    let late = |said: &&Said| !known(said);
    let place = format!("{}, {}", part.address, part.name);
    let mut told = Vec::new();
    let standing = |known: &dyn Fn(&Said) -> bool| MeasurementPart::standing(&part.measurements, span.as_of, known);
    let (before, now) = (standing(&known), standing(&|_| true));
    if before.map(|one| (one.on, one.area)) != now.map(|one| (one.on, one.area)) {
        let words = |one: Option<&MeasurementPart>| {
            one.map_or_else(|| "not measured".to_owned(), |one| format!("{} sq ft, measured on {}", one.area, one.on))
        };
        let of = |one: Option<&'_ MeasurementPart>| -> Vec<Said> {
            let confirmed = one.and_then(|one| one.confirmed.as_ref()).map(|(_, said)| said);
            let corrected = one.and_then(|one| one.corrected.as_ref());
            one.map(|one| &one.entered).into_iter().chain(confirmed).chain(corrected).filter(late).cloned().collect()
        };
        told.extend(since([of(before), of(now)].concat(), &place, ("area", &words(now), &words(before)), zone));
    }
    let newest = |known: &dyn Fn(&Said) -> bool| SoilPart::newest(&part.soil_reports, span.as_of, known);
    let (before, now) = (newest(&known), newest(&|_| true));
    if before.map(|one| one.on) != now.map(|one| one.on) {
        let words = |one: Option<&SoilPart>| one.map_or_else(|| "none".to_owned(), |one| one.on.to_string());
        let of = |one: Option<&'_ SoilPart>| -> Vec<Said> {
            let corrected = one.and_then(|one| one.corrected.as_ref());
            one.map(|one| &one.entered).into_iter().chain(corrected).filter(late).cloned().collect()
        };
        told.extend(since(
            [of(before), of(now)].concat(),
            &place,
            ("soil sampled on", &words(now), &words(before)),
            zone,
        ));
    }
    told
}

/// The sentence about what was corrected: by the last that was said of it.
fn since(said: Vec<Said>, place: &str, (what, now, before): (&str, &str, &str), zone: &TimeZone) -> Option<String> {
    let last = said.into_iter().max_by_key(|said| said.at)?;
    let why = last.why.map_or_else(String::new, |reason| format!(" Reason: {reason}"));
    let day = last.at.day_in(zone);
    Some(format!("Corrected on {day}: {place}: {what}: {now} (before the correction: {before}).{why}"))
}
