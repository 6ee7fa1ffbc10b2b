//! What of a statement is late, corrected, beyond the rules, or not closed.

use std::collections::{BTreeSet, HashMap, HashSet};

use domain::{
    ids::{ApplicationId, PropertyId},
    time::Day,
};

use crate::{
    store::statements::{Parts, RecordPart, SectionPart},
    zone::{self, UnknownZone},
};

/// Whether the record came in after its day had ended, by the clock that told which day that was: the one that was fixed with it, as
/// wherever the record itself is shown. A clock that is entered for the place later makes no other day of it.
pub(super) fn is_late(record: &RecordPart, part: &SectionPart) -> Result<bool, UnknownZone> {
    let now = &part.property.present().time_zone;
    let then = record.time_zone.as_ref().unwrap_or(now);
    let zone = zone::of_property_then(record.property_id, then, now)?;
    Ok(record.received_at.day_in(&zone) > record.applied_on)
}

/// What is late, corrected, beyond the rules, or not closed.
pub(super) fn told(parts: &Parts, today: Day, gaps: &mut Vec<String>) -> Result<(), UnknownZone> {
    let properties: HashMap<PropertyId, &SectionPart> =
        parts.sections.iter().map(|part| (part.property_id, part)).collect();
    let place = |id: &PropertyId| properties.get(id).map_or("", |part| part.address.as_str());
    if parts.limited {
        gaps.push("Only the properties that you may see are shown.".to_owned());
    }
    let changes: BTreeSet<(&str, Day)> = parts
        .sections
        .iter()
        .flat_map(|part| part.changed_hands_on.iter().map(|day| (part.address.as_str(), *day)))
        .collect();
    for (address, day) in changes {
        gaps.push(format!(
            "{address}: the property changed hands on {day}. The year shown is that of the land, whoever paid."
        ));
    }
    let here: HashSet<ApplicationId> = parts.ledger.iter().map(|line| line.line.application).collect();
    let records = || parts.records.iter().filter(|record| here.contains(&record.id));
    let mut late = 0;
    for (record, part) in records().filter_map(|record| Some((record, properties.get(&record.property_id)?))) {
        late += usize::from(is_late(record, part)?);
    }
    let mut say = |count: usize, what: &str| {
        if count > 0 {
            gaps.push(format!("{what}: {count}."));
        }
    };
    say(late, "Records that came in after the day of application");
    let corrected = records().filter(|record| record.corrected).count();
    say(corrected, "Records that were corrected, so that the lines show what stands");
    let beyond = records().filter(|record| record.once_beyond.by_a_word).count();
    say(beyond, "Records that were beyond the rules when they were made or corrected, acknowledged by their sender");
    let by_addition = records().filter(|record| record.once_beyond.by_an_addition).count();
    say(by_addition, "Records of work that went beyond the rules by a distance that was added to them later");
    gaps.extend(attempts(parts, place));
    for (_, property, planned_on) in parts.open_visits.iter().filter(|(.., on)| *on < today) {
        gaps.push(format!("{}: the visit planned on {planned_on} was neither recorded nor closed.", place(property)));
    }
    Ok(())
}

/// Attempts that came to nothing. Those that differ in nothing that is told are told once, with their number.
fn attempts<'a>(parts: &'a Parts, place: impl Fn(&PropertyId) -> &'a str) -> Vec<String> {
    let mut counted: Vec<(&(String, PropertyId, Day), usize)> = Vec::new();
    for attempt in &parts.open_attempts {
        match counted.iter_mut().find(|(known, _)| *known == attempt) {
            Some((_, times)) => *times += 1,
            None => counted.push((attempt, 1)),
        }
    }
    let told = counted.into_iter().map(|((kind, property, on), times)| {
        let what = if kind == "correction" { "correction of work" } else { "record of work" };
        let times = if times == 1 { String::new() } else { format!(" {times} times") };
        format!(
            "{}: a {what} of {on} was refused{times} and neither sent again nor reviewed; the work may have been done.",
            place(property)
        )
    });
    told.collect()
}
