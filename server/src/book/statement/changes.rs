//! What a reader of a statement must know of the facts behind it: what changed within the span, and what was entered about the
//! span after it had ended.

use std::collections::BTreeSet;

use domain::{
    dated::{Facts, History},
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
        said.extend(added(part, span, zone));
        let property = Some(parts.histories.entries_of(&part.property_id.to_string()));
        let (client, limited) = (part.client_id.to_string(), parts.limited);
        let whose = Whose { id: &client, name: &part.client_name, property, limited, zone };
        said.extend(grounds(part, &whose, span));
        let things = [
            (part.client_id.to_string(), "The client".to_owned()),
            (part.property_id.to_string(), part.address.clone()),
            (part.id.to_string(), format!("{}, {}", part.address, part.name)),
        ];
        for (id, place) in things.into_iter().filter(|(id, _)| seen.insert(id.clone())) {
            // What is said of the client is said of nobody else, whoever has the property by then.
            let property = whose.property.filter(|_| id != whose.id);
            let whose = Whose { property, ..whose };
            said.extend(entered_since(parts.histories.entries_of(&id), (&place, &whose), span, zone));
        }
    }
    said.extend(taken_off(parts, span, zone));
    said
}

/// That a lawn was entered after the span had ended: no statement that was made by then has it.
fn added(part: &SectionPart, span: Span, zone: &TimeZone) -> Option<String> {
    let day = part.created_at.day_in(zone);
    (day > span.to)
        .then(|| format!("Added on {day}: {}, {}: this lawn was not in the book before.", part.address, part.name))
}

/// Properties that were the client's within the span by what was known when it ended, and are not by what was entered since. Nothing else
/// of them stands on the statement.
pub(super) fn taken_off(parts: &Parts, span: Span, zone: &TimeZone) -> Vec<String> {
    let told = parts.left.iter().filter_map(|left| {
        let entries = parts.histories.entries_of(&left.id.to_string());
        let by_then = known_then(entries, span, zone);
        let (known, now) = (history(&by_then), history(entries));
        let client = left.client_id.to_string();
        let is_the_clients = |facts: Facts| facts.get("client_id").and_then(Value::as_str) == Some(client.as_str());
        let was_taken = |day: &Day| is_the_clients(known.on(*day)) && !is_the_clients(now.on(*day));
        let day = days_of([&known, &now], span).into_iter().find(was_taken)?;
        let (property, limited) = (Some(entries), parts.limited);
        let whose = Whose { id: &client, name: &left.client_name, property, limited, zone };
        corrected(entries, &by_then, ("client_id", day), (&left.address, &whose), zone)
    });
    told.collect()
}

/// Days of a span on which something may begin to be otherwise.
fn days_of(histories: [&History; 2], span: Span) -> Vec<Day> {
    let mut days: Vec<Day> = histories.iter().flat_map(|history| history.days()).collect();
    days.extend([span.from, span.to]);
    days.retain(|day| (span.from..=span.to).contains(day));
    days.sort_unstable();
    days
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

/// What was known of a thing when the span ended.
fn known_then(entries: &[StoredEntry], span: Span, zone: &TimeZone) -> Vec<StoredEntry> {
    let is_late = |entry: &StoredEntry| entry.view.entered_by.is_some() && entry.view.entered_at.day_in(zone) > span.to;
    let by_then: Vec<StoredEntry> = entries.iter().filter(|entry| !is_late(entry)).cloned().collect();
    // A thing that was added after the span had ended corrects nothing: what it was entered with has no reason. What was learned of
    // it later, or corrected, has one and is told.
    let as_entered = || entries.iter().filter(|entry| entry.view.reason.is_none()).cloned().collect();
    if by_then.is_empty() { as_entered() } else { by_then }
}

/// What was entered after the span had ended and changes what the statement says of it.
fn entered_since(entries: &[StoredEntry], about: (&str, &Whose<'_>), span: Span, zone: &TimeZone) -> Vec<String> {
    let by_then = known_then(entries, span, zone);
    if by_then.len() == entries.len() {
        return Vec::new();
    }
    let (known, now) = (history(&by_then), history(entries));
    let days = days_of([&known, &now], span);
    let told = NAMED.iter().filter_map(|name| {
        let differs = |day: &&Day| said(name, &known.on(**day)) != said(name, &now.on(**day));
        let day = *days.iter().find(differs)?;
        corrected(entries, &by_then, (*name, day), about, zone)
    });
    told.collect()
}

/// What facts say of a member. What the entries of an older book do not name means what everything was brought over as.
fn said(name: &str, facts: &Facts) -> Option<Value> {
    facts.get(name).cloned().or_else(|| unnamed(name))
}

/// The client to whom a statement is told.
#[derive(Clone, Copy)]
struct Whose<'a> {
    id: &'a str,
    name: &'a str,
    /// The entries about the property, by which it is told whose it was when; nothing where it is about the client alone.
    property: Option<&'a [StoredEntry]>,
    /// Its reader does not see the whole company.
    limited: bool,
    zone: &'a TimeZone,
}

impl Whose<'_> {
    /// The reason that was given at a moment, where the property was this client's by then, by what is known now and by what was known
    /// when it was given: what was said in another one's time may name that one. Whoever does not see the whole company reads none of
    /// a former client's time.
    fn why(&self, reason: Option<&String>, at: Instant) -> String {
        let is_theirs = |facts: &Facts| facts.get("client_id").is_none_or(|owner| owner.as_str() == Some(self.id));
        let theirs = self.property.is_none_or(|entries| {
            let day = at.day_in(self.zone);
            let by_then: Vec<StoredEntry> =
                entries.iter().filter(|entry| entry.view.entered_at <= at).cloned().collect();
            let now = history(entries);
            is_theirs(&now.on(day))
                && is_theirs(&history(&by_then).on(day))
                && (!self.limited || is_theirs(&now.present()))
        });
        reason.filter(|_| theirs).map_or_else(String::new, |reason| format!(" Reason: {reason}"))
    }
}

/// The sentence about a member that is otherwise from a day on than it was known. A statement is handed to its client, who is told of no
/// other one: neither a name nor why a property became another client's, which may name one.
fn corrected(
    entries: &[StoredEntry],
    known: &[StoredEntry],
    (name, day): (&str, Day),
    (place, whose): (&str, &Whose<'_>),
    zone: &TimeZone,
) -> Option<String> {
    let on = |entries: &[StoredEntry]| said(name, &history(entries).on(day));
    let entry = made_so(entries, known, on)?;
    let called = |value: &Value| match name {
        "client_id" if value.as_str() == Some(whose.id) => whose.name.to_owned(),
        "client_id" => "another client".to_owned(),
        _ => value_of(name, value),
    };
    let value = |value: Option<Value>| value.as_ref().map_or_else(|| "none".to_owned(), called);
    let why = entry.view.reason.as_ref().filter(|_| !entry.view.facts.contains_key("client_id"));
    let why = whose.why(why, entry.view.entered_at);
    Some(format!(
        "Corrected on {}: {place}: from {day} on, {}: {} (before the correction: {}).{why}",
        entry.view.entered_at.day_in(zone),
        label(name),
        value(on(entries)),
        value(on(known))
    ))
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
fn grounds(part: &SectionPart, whose: &Whose<'_>, span: Span) -> Vec<String> {
    let zone = whose.zone;
    let is_late = |at: Instant| at.day_in(zone) > span.to;
    let (was_there, first_day) = (!is_late(part.created_at), part.created_at.day_in(zone));
    let entered_with_it = |said: &Said| !said.corrects && said.at.day_in(zone) <= first_day;
    let known = |said: &Said| if was_there { !is_late(said.at) } else { entered_with_it(said) };
    let place = format!("{}, {}", part.address, part.name);
    let mut told = Vec::new();
    let said = part.measurements.iter().flat_map(MeasurementPart::said).filter(|said| !known(said)).collect();
    let area = |known: &dyn Fn(&Said) -> bool| {
        let one = MeasurementPart::standing(&part.measurements, span.as_of, known);
        one.map(|one| format!("{} sq ft, measured on {}", one.area, one.on))
    };
    told.extend(since(said, &known, area, (&place, "area", "not measured"), whose));
    let said = part.soil_reports.iter().flat_map(SoilPart::said).filter(|said| !known(said)).collect();
    let sampled = |known: &dyn Fn(&Said) -> bool| {
        SoilPart::newest(&part.soil_reports, span.as_of, known).map(|one| one.on.to_string())
    };
    told.extend(since(said, &known, sampled, (&place, "soil sampled on", "none"), whose));
    told
}

/// The sentence about what was corrected, with day and reason of what made it so: the last of what was said after the span that changed
/// it. What was said since of other days, or of what did not stand by then, made nothing so.
fn since(
    mut late: Vec<&Said>,
    known: &dyn Fn(&Said) -> bool,
    stands: impl Fn(&dyn Fn(&Said) -> bool) -> Option<String>,
    (place, what, nothing): (&str, &str, &str),
    whose: &Whose<'_>,
) -> Option<String> {
    late.sort_by_key(|said| (said.at, said.seq));
    let before = stands(known);
    let (mut stood, mut made) = (before.clone(), None);
    for (at, said) in late.iter().enumerate() {
        let by_then = |one: &Said| known(one) || late.iter().take(at + 1).any(|other| std::ptr::eq(*other, one));
        let now = stands(&by_then);
        if now != stood {
            (stood, made) = (now, Some(*said));
        }
    }
    let last = made.filter(|_| stood != before)?;
    let why = whose.why(last.why.as_ref(), last.at);
    let words = |value: Option<String>| value.unwrap_or_else(|| nothing.to_owned());
    let (day, now, before) = (last.at.day_in(whose.zone), words(stood), words(before));
    Some(format!("Corrected on {day}: {place}: {what}: {now} (before the correction: {before}).{why}"))
}
