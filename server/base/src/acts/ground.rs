//! Where lines lie: the parts that they name, the area of those, and how both are shown.

use domain::{
    ids::{PropertyId, SectionId},
    parts::{Division, Part, Parts},
    product::Label,
    quantity::Area,
    time::Day,
};

use crate::{
    acts::{
        BatchFacts,
        application::{LineView, PartName, line_view},
        facts::{Line, measured, treated},
        rows::SectionRow,
    },
    problem::FieldFault,
};

/// Sequence number, first day, and parts with name and area.
pub type DivisionRow = (i64, Day, Vec<(String, i64)>);

/// Where a row of the ledger or of held room lies.
pub fn parts_of(division: Option<i64>, mask: Option<u16>) -> Option<Parts> {
    division.zip(mask).map(|(division, mask)| Parts { division, mask })
}

impl SectionRow {
    /// Every way in which it was divided.
    pub fn divisions(&self) -> Vec<Division> {
        self.divisions.iter().map(division).collect()
    }

    /// How it is divided on a day.
    pub fn division_on(&self, day: Day) -> Option<Division> {
        let begun = self.divisions.iter().filter(|(_, since, _)| *since <= day);
        begun.max_by_key(|(seq, since, _)| (*since, *seq)).map(division)
    }
}

fn division((number, _, parts): &DivisionRow) -> Division {
    let part = |(name, area): &(String, i64)| Part { name: name.clone(), area: Area::from_raw(*area) };
    Division { number: *number, parts: parts.iter().map(part).collect() }
}

/// The ground of a line: the parts that it names, and the area, which is theirs unless it says another one.
pub fn ground(
    world: &BatchFacts,
    property: PropertyId,
    (section, named, treated_area): (SectionId, &[PartName], Option<Area>),
    on: Day,
    pointer: &str,
) -> Result<(Area, Option<Parts>), FieldFault> {
    if named.is_empty() {
        return treated(world, property, section, treated_area, on, pointer).map(|area| (area, None));
    }
    let whole = measured(world, property, section, on, pointer)?;
    let division = world.sections.get(&section).and_then(|row| row.division_on(on));
    let fault = |at: usize, code: &str, detail: String| FieldFault::at(format!("{pointer}/parts/{at}"), code, detail);
    let Some(division) = division else {
        let detail = format!("is no part: the section is not divided on {on}. The office enters its parts");
        return Err(fault(0, "not_found", detail));
    };
    let all: i64 = division.parts.iter().map(|part| part.area.raw()).sum();
    if all > whole.raw() {
        let (all, whole) = (Area::from_raw(all).with_unit(), whole.with_unit());
        let detail = format!(
            "cannot be told from the others: the section's parts have {all} together, and it was measured {whole} since. The office \
             divides it anew; without parts it counts as lying anywhere"
        );
        return Err(fault(0, "contradiction", detail));
    }
    if let Some(at) = named.iter().position(|name| division.parts.iter().all(|part| part.name != name.0)) {
        let known: Vec<&str> = division.parts.iter().map(|part| part.name.as_str()).collect();
        return Err(fault(at, "not_found", format!("is no part of the section on {on}; it has {}", known.join(", "))));
    }
    let wanted: Vec<String> = named.iter().map(|name| name.0.clone()).collect();
    let parts = division.parts_of(&wanted);
    let together: i64 = parts.iter().flat_map(|parts| division.named(parts.mask)).map(|part| part.area.raw()).sum();
    let together = Area::from_raw(together);
    match treated_area {
        Some(area) if area > together => Err(FieldFault::at(
            format!("{pointer}/treated_area_sqft"),
            "out_of_range",
            format!("is more than its parts have together, {}", together.with_unit()),
        )),
        area => Ok((area.unwrap_or(together), parts)),
    }
}

/// Lines as they are shown, with the names of their parts.
pub fn line_views(lines: &[Line], label: &Label, world: &BatchFacts) -> Vec<LineView> {
    let shown = |line: &Line| {
        let divisions = world.sections.get(&line.section).map(SectionRow::divisions).unwrap_or_default();
        LineView { parts: names(line.parts, &divisions), ..line_view(line.section, line.area, line.product, label) }
    };
    lines.iter().map(shown).collect()
}

/// What parts are called by their division.
pub fn names(parts: Option<Parts>, divisions: &[Division]) -> Vec<PartName> {
    let known = parts.and_then(|parts| Some((parts, divisions.iter().find(|one| one.number == parts.division)?)));
    known
        .map(|(parts, division)| division.named(parts.mask).map(|part| PartName(part.name.clone())).collect())
        .unwrap_or_default()
}
