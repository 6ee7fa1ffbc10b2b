//! Records that say something else since the span of a statement ended, or that came in only then.

use std::collections::BTreeSet;

use jiff::tz::TimeZone;

use super::lines::LastWords;
use crate::{
    acts::{application::AppliedLine, correction},
    store::statements::{Parts, RecordPart, SectionPart, Span},
};

/// Days of records that are named in one sentence.
const NAMED: usize = 20;

/// A sentence for every line that a correction of later days made another one, and one for the records of later days. Why a record was
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
        let Some((now, (day, before))) = now.zip(before(record, span, zone)) else { continue };
        for part in here() {
            let (was, is) = (on(before.iter(), part), on(now.iter().map(|(line, _)| line), part));
            if was != is {
                told.push(format!(
                    "Corrected on {day}: {}, {}: the record of {}: {is} (before the correction: {was}). The record says why.",
                    part.address, part.name, record.applied_on
                ));
            }
        }
    }
    if !entered.is_empty() {
        let days: Vec<String> = entered.iter().take(NAMED).map(ToString::to_string).collect();
        let more = entered.len().saturating_sub(NAMED);
        let more = if more > 0 { format!(" and {more} further days") } else { String::new() };
        told.push(format!("Records that came in only after {}: those of {}{more}.", span.to, days.join(", ")));
    }
    told
}

/// What a record said when the span ended, where corrections came in since, with the day of the last of them.
fn before(record: &RecordPart, span: Span, zone: &TimeZone) -> Option<(domain::time::Day, Vec<AppliedLine>)> {
    let last = record.since_at.last()?.day_in(zone);
    if last <= span.to {
        return None;
    }
    let by_then = record.since_at.iter().take_while(|at| at.day_in(zone) <= span.to).count();
    let mut words: Vec<serde_json::Value> = serde_json::from_str(&record.since).ok()?;
    words.truncate(by_then);
    let lines = correction::last_word(&record.content, &serde_json::to_string(&words).ok()?).ok()?;
    Some((last, lines.into_iter().map(|(line, _)| line).collect()))
}

fn is_on(line: &AppliedLine, part: &SectionPart) -> bool {
    line.section_id == part.id
}

/// What lies on a section by some lines, in words.
fn on<'l>(lines: impl Iterator<Item = &'l AppliedLine>, part: &SectionPart) -> String {
    let words = lines.filter(|line| is_on(line, part)).map(|line| {
        let names = || line.parts.iter().map(|part| part.0.as_str()).collect::<Vec<_>>().join(" and ");
        let whole = || if line.parts.is_empty() { "the whole lawn".to_owned() } else { names() };
        let area = line.treated_area_sqft.map_or_else(whole, |area| format!("{area} sq ft"));
        format!("{} lb on {area}", line.product_lb)
    });
    let words: Vec<String> = words.collect();
    if words.is_empty() { "nothing".to_owned() } else { words.join(" and ") }
}
