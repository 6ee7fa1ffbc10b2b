//! The lines of a section's statement, read from the records and held against the ledger.

use std::collections::HashMap;

use domain::{
    ids::{ApplicationId, CorrectionId},
    parts::Piece,
    quantity::{Area, NutrientRate},
    statement::{LedgerLine, Totals},
};

use super::{GroundYear, StatementLine, open_ends::is_late};
use crate::{
    acts::{
        application::{AppliedLine, line_view},
        correction, ground,
    },
    store::statements::{LedgerPart, MeasurementPart, Parts, RecordPart, SectionPart},
    zone::UnknownZone,
};

/// A line with the parts of the section that it lies in.
type PlacedLine = (StatementLine, Option<domain::parts::Parts>);

/// The last word on each record: its lines that stand, each with the last correction that named it; nothing where its content cannot
/// be read.
pub(super) type LastWords = HashMap<ApplicationId, Option<Vec<(AppliedLine, Option<CorrectionId>)>>>;

/// Reads the records themselves, each once, however many sections they are about.
pub(super) fn last_words(records: &[RecordPart]) -> LastWords {
    let last = |record: &RecordPart| (record.id, correction::last_word(&record.content, &record.since).ok());
    records.iter().map(last).collect()
}

/// The last word on every application of a section with the parts that it lies in.
pub(super) fn lines_of(
    part: &SectionPart,
    parts: &Parts,
    words: &LastWords,
    gaps: &mut Vec<String>,
) -> Result<Vec<PlacedLine>, UnknownZone> {
    let mut lines = Vec::new();
    for record in parts.records.iter().filter(|record| record.property_id == part.property_id) {
        let Some(applied) = words.get(&record.id).and_then(Option::as_ref) else {
            gaps.push(format!(
                "{}: the content of application {} cannot be read. Run `swardbook verify`.",
                part.address, record.id
            ));
            continue;
        };
        let late = is_late(record, part)?;
        for (line, corrected_by) in applied.iter().filter(|(line, _)| line.section_id == part.id) {
            let kept = kept(part, record, parts);
            let Some(area) = line.treated_area_sqft.or(kept.map(|kept| kept.area)) else {
                gaps.push(format!(
                    "{}, {}: application {} stands nowhere in the ledger. Run `swardbook verify`.",
                    part.address, part.name, record.id
                ));
                continue;
            };
            gaps.extend(pesticide_note(part, record));
            gaps.extend(more_ground(part, record, area));
            let view = line_view(part.id, area, line.product_lb, &record.label);
            let placed = lies(line, corrected_by.is_some(), kept, part);
            let line = StatementLine {
                application_id: record.id,
                correction_id: *corrected_by,
                applied_on: record.applied_on,
                product_name: record.product_name.clone(),
                grade: record.label.grade(),
                area_sqft: area,
                parts: ground::names(placed, &part.divisions),
                product_lb: line.product_lb,
                delivers: view.delivers,
                nitrogen_lb_per_1000_sqft: view.nitrogen_lb_per_1000_sqft,
                applied_by: record.person_name.clone(),
                credential_numbers: record.credential_numbers.join(", "),
                beyond_the_rules: record.beyond_the_rules || record.once_beyond.by_an_addition,
                late,
            };
            lines.push((line, placed));
        }
    }
    Ok(lines)
}

/// Says of a record that it lies on more ground than the lawn had on its day, by what was measured or corrected since.
fn more_ground(part: &SectionPart, record: &RecordPart, area: Area) -> Option<String> {
    let had = MeasurementPart::standing(&part.measurements, record.applied_on, |_| true)?;
    (area > had.area).then(|| {
        format!(
            "{}, {}: the record of {} is of {area} sq ft, which is more ground than the lawn had by what is known now: {} sq ft, measured \
             on {}. Where it was put down on less, a correction says so.",
            part.address, part.name, record.applied_on, had.area, had.on
        )
    })
}

/// Says of a combination product that it is a pesticide too, whose law the statement leaves out, and how long people
/// stay off the ground.
fn pesticide_note(part: &SectionPart, record: &RecordPart) -> Option<String> {
    let pesticide = record.label.pesticide()?;
    let reentry = pesticide.reentry().unwrap_or_else(|| "not copied from the label".to_owned());
    let reentry = reentry.trim_end_matches('.');
    Some(format!(
        "{}, {}: {} of {} is a pesticide too, EPA Reg. No. {}. By its label people and pets stay off the treated ground: {reentry}.",
        part.address, part.name, record.product_name, record.applied_on, pesticide.epa_registration
    ))
}

/// The ledger's line as the last word on it was written. Its area and its division are facts of that record and were kept with it; a
/// later measurement or division does not change them.
fn kept(part: &SectionPart, record: &RecordPart, parts: &Parts) -> Option<LedgerLine> {
    let kept =
        |line: &&LedgerPart| line.section == part.id && line.line.application == record.id && line.line.product > 0;
    parts.ledger.iter().rev().find(kept).map(|part| part.line)
}

/// The parts that a line names, by the division that it was written under. A correction that names none leaves it where it stood.
fn lies(
    line: &AppliedLine,
    corrected: bool,
    kept: Option<LedgerLine>,
    part: &SectionPart,
) -> Option<domain::parts::Parts> {
    let stood = kept.and_then(|kept| kept.parts)?;
    if line.parts.is_empty() {
        return corrected.then_some(stood);
    }
    let names: Vec<String> = line.parts.iter().map(|name| name.0.clone()).collect();
    part.divisions.iter().find(|division| division.number == stood.division)?.parts_of(&names)
}

/// The year of each piece of ground that applications told apart.
pub(super) fn pieces(totals: &Totals, part: &SectionPart) -> Vec<GroundYear> {
    let pieces = totals.nitrogen_by_piece().into_iter().filter(|(piece, _)| !piece.parts().is_empty());
    let named = |(piece, nitrogen): (Piece, NutrientRate)| GroundYear {
        parts: piece.parts().iter().flat_map(|lies| ground::names(Some(*lies), &part.divisions)).collect(),
        nitrogen_lb_per_1000_sqft: nitrogen,
    };
    pieces.map(named).collect()
}
