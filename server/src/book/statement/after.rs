//! Records that say something else since the span of a statement ended, or that came in only then; what was added to them, and which
//! refused work was reviewed, only then.

use std::collections::BTreeSet;

use domain::time::{Day, Instant};
use jiff::tz::TimeZone;

use super::lines::LastWords;
use crate::{
    acts::{application::AppliedLine, correction},
    field_fault::truncate_chars,
    store::statements::{Parts, RecordPart, SectionPart, Span},
};

/// Days of records that are named in one sentence.
const NAMED: usize = 20;
/// Characters of a sentence about one line, of the thousand that a statement's sentences may have.
const LONGEST: usize = 900;

/// A sentence for every line that a correction of later days made another one, and one each for the records of later days, for what was
/// added then and for what was reviewed then. Why a record was
/// corrected stands on the record: its reader is the client of that time, and the reader of a statement may be another.
pub(super) fn told(parts: &Parts, words: &LastWords, span: Span, zone: &TimeZone) -> Vec<String> {
    let mut told = Vec::new();
    let mut entered = BTreeSet::new();
    for record in &parts.records {
        let here = || parts.sections.iter().filter(|part| part.property_id == record.property_id);
        let now = words.get(&record.id).and_then(Option::as_ref);
        if record.received_at.day_in(zone) > span.to {
            let stands = now.is_some_and(|lines| here().any(|part| lines.iter().any(|(line, _)| is_on(line, part))));
            entered.extend(stands.then_some(record.applied_on));
            continue;
        }
        let steps = steps(record, span, zone);
        let Some((first, later)) = steps.split_first() else { continue };
        for part in here() {
            let was = on(&first.lines, part);
            // The last of them that changed something here made it so.
            let (mut is, mut made) = (was.clone(), None);
            for step in later {
                let now = on(&step.lines, part);
                if now != is {
                    (is, made) = (now, Some(step.day));
                }
            }
            if let Some(day) = made.filter(|_| was != is) {
                let words = format!(
                    "Corrected on {day}: {}, {}: the record of {}: {is} (before the correction: {was}).",
                    part.address, part.name, record.applied_on
                );
                told.push(format!("{} The record says why.", truncate_chars(words, LONGEST)));
            }
        }
    }
    let (to, late) = (span.to, |at: Instant| at.day_in(zone) > span.to);
    let added = parts.records.iter().filter(|record| !late(record.received_at));
    let added = added.filter(|record| parts.later.added.iter().any(|(id, at)| *id == record.id && late(*at)));
    let added = added.map(|record| record.applied_on).collect();
    let reviewed = parts.later.reviewed.iter().filter(|(_, at)| late(*at)).map(|(day, _)| *day).collect();
    told.extend(of_days(&format!("Records that came in only after {to}"), &entered));
    told.extend(of_days(&format!("Records to which something was added only after {to}"), &added));
    told.extend(of_days(&format!("Refused records of work that were reviewed only after {to}"), &reviewed));
    told
}

/// What is to be said of records of some days; nothing where there are none.
fn of_days(what: &str, days: &BTreeSet<Day>) -> Option<String> {
    let named: Vec<String> = days.iter().take(NAMED).map(ToString::to_string).collect();
    let more = days.len().saturating_sub(NAMED);
    let more = if more > 0 { format!(" and {more} further days") } else { String::new() };
    (!named.is_empty()).then(|| format!("{what}: those of {}{more}.", named.join(", ")))
}

/// What a record says from a day on.
struct Step {
    day: Day,
    lines: Vec<AppliedLine>,
}

/// What a record said when the span ended, and after each correction since; nothing where none came in. What cannot be read is told
/// where the lines are.
fn steps(record: &RecordPart, span: Span, zone: &TimeZone) -> Vec<Step> {
    let days: Vec<Day> = record.since_at.iter().map(|at| at.day_in(zone)).collect();
    let by_then = days.iter().take_while(|day| **day <= span.to).count();
    let words: Vec<serde_json::Value> = serde_json::from_str(&record.since).unwrap_or_default();
    if by_then == days.len() || words.len() != days.len() {
        return Vec::new();
    }
    let mut steps: Vec<Step> = Vec::new();
    for count in 0..=days.len() {
        let before = steps.last();
        let Some(step) = step(record, &words, (count, &days), before) else { return Vec::new() };
        steps.push(step);
    }
    steps.split_off(by_then)
}

/// What a record says after so many corrections; nothing where that cannot be read.
fn step(
    record: &RecordPart,
    words: &[serde_json::Value],
    (count, days): (usize, &[Day]),
    before: Option<&Step>,
) -> Option<Step> {
    let since = serde_json::to_string(words.get(..count)?).ok()?;
    let lines = correction::last_word(&record.content, &since).ok()?;
    let last = count.checked_sub(1);
    let day = last.and_then(|at| days.get(at)).copied().unwrap_or(record.applied_on);
    // A correction names the sections whose product may lie anywhere from now on.
    let said = last.and_then(|at| words.get(at)?.get(2)?.as_str()).unwrap_or("null");
    let said: serde_json::Value = serde_json::from_str(said).ok()?;
    let anywhere = |line: &AppliedLine| {
        let named = said.pointer("/change/anywhere").and_then(serde_json::Value::as_array);
        named.is_some_and(|named| named.iter().any(|id| id.as_str() == Some(line.section_id.to_string().as_str())))
    };
    let lines = lines.into_iter().map(|(mut line, _)| {
        let known = before.and_then(|step| step.lines.iter().find(|one| one.section_id == line.section_id));
        // A line that names no parts keeps those that stood, unless it lies on more ground; one without an area keeps that as well.
        if let Some(known) = known.filter(|_| line.parts.is_empty()) {
            let grows = line.treated_area_sqft.zip(known.treated_area_sqft).is_some_and(|(is, was)| is > was);
            line.treated_area_sqft = line.treated_area_sqft.or(known.treated_area_sqft);
            if !grows && !anywhere(&line) {
                line.parts.clone_from(&known.parts);
            }
        }
        line
    });
    Some(Step { day, lines: lines.collect() })
}

fn is_on(line: &AppliedLine, part: &SectionPart) -> bool {
    line.section_id == part.id
}

/// What lies on a section by some lines, in words. One without ground lies on the whole lawn.
fn on(lines: &[AppliedLine], part: &SectionPart) -> String {
    let words = lines.iter().filter(|line| is_on(line, part)).map(|line| {
        let area = line.treated_area_sqft.map(|area| format!(" on {area} sq ft")).unwrap_or_default();
        let names: Vec<&str> = line.parts.iter().map(|part| part.0.as_str()).collect();
        let names = if names.is_empty() { String::new() } else { format!(" ({})", names.join(", ")) };
        format!("{} lb{area}{names}", line.product_lb)
    });
    let words: Vec<String> = words.collect();
    if words.is_empty() { "nothing".to_owned() } else { words.join(" and ") }
}
