//! The ground of a day's visits: how sections are divided, and how much of them stands recorded.

use domain::{
    ids::SectionId,
    parts::{Division, Part},
    quantity::Area,
};
use serde::Serialize;
use sqlx::SqliteConnection;
use utoipa::ToSchema;

use super::DayReferences;
use crate::{
    acts::{application::PartName, ground::parts_of},
    store::{divisions::SectionPart, read, read_json, sections::Section},
};

/// How a section is divided on the day.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DividedSection {
    pub section_id: SectionId,
    #[schema(min_items = 1, max_items = 16)]
    pub parts: Vec<SectionPart>,
}

impl DividedSection {
    /// Nothing where the parts have more ground than was measured since: records cannot name them any more.
    pub(super) fn of(section: &Section, division: &Division) -> Option<Self> {
        let together: i64 = division.parts.iter().map(|part| part.area.raw()).sum();
        section.area_sqft.filter(|area| together <= area.raw())?;
        let part = |part: &Part| SectionPart { name: part.name.clone(), area_sqft: part.area };
        Some(Self { section_id: section.id, parts: division.parts.iter().map(part).collect() })
    }
}

/// How much of a section stands recorded under a visit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct RecordedSection {
    pub section_id: SectionId,
    /// Ground that was treated, all records of the visit together. More than the section where it was treated twice.
    pub treated_area_sqft: Area,
    /// Ground that is still open, by the measurement that the records were made under; null when all of it was treated.
    pub open_area_sqft: Option<Area>,
    /// Parts of the section, as it is divided on the day, that records name and cover wholly.
    #[schema(max_items = 16)]
    pub parts: Vec<PartName>,
}

/// The division of each section that holds on the day: the latest by then, of two with one day the later entered.
pub(super) async fn read_divisions(
    connection: &mut SqliteConnection,
    person: &str,
    day: &str,
    named: &mut DayReferences,
) -> Result<(), sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT d.seq AS "seq!", d.section_id AS "section_id!", d.parts AS "parts!"
           FROM divisions AS d
           WHERE d.section_id IN (SELECT w.section_id FROM visits AS v JOIN visit_sections AS w ON w.visit_id = v.id
                   WHERE v.person_id = $1 AND v.planned_on = $2)
             AND d.seq = (SELECT n.seq FROM divisions AS n WHERE n.section_id = d.section_id AND n.since <= $2
                   ORDER BY n.since DESC, n.seq DESC LIMIT 1)"#,
        person,
        day
    )
    .fetch_all(connection)
    .await?;
    for row in rows {
        let kept: Vec<(String, i64)> = read_json(&row.parts, "parts of a section")?;
        let part = |(name, area): (String, i64)| Part { name, area: Area::from_raw(area) };
        let division = Division { number: row.seq, parts: kept.into_iter().map(part).collect() };
        named.divisions.insert(read(&row.section_id, "section id")?, division);
    }
    Ok(())
}

/// What stands of the records of these visits. Of each record a section counts with the area of its newest line, which is that of
/// the last correction, and not at all where a correction took it back.
pub(super) async fn read_recorded(
    connection: &mut SqliteConnection,
    person: &str,
    day: &str,
    named: &mut DayReferences,
) -> Result<(), sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT v.id AS "id!", l.section_id AS "section_id!",
                  (SELECT json_array(n.area, n.division, n.parts) FROM application_lines AS n
                     WHERE n.application_id = a.id AND n.section_id = l.section_id
                     AND n.product > 0 ORDER BY n.seq DESC LIMIT 1) AS "line!: String",
                  coalesce(
                    (SELECT m.area FROM counted_measurements AS m WHERE m.section_id = l.section_id AND m.measured_on <= a.applied_on
                       ORDER BY m.measured_on DESC, m.place DESC LIMIT 1),
                    (SELECT m.area FROM counted_measurements AS m WHERE m.section_id = l.section_id
                       ORDER BY m.measured_on, m.place LIMIT 1)) AS "whole!: i64"
           FROM visits AS v JOIN applications AS a ON a.visit_id = v.id JOIN application_lines AS l ON l.application_id = a.id
           WHERE v.person_id = $1 AND v.planned_on = $2
           GROUP BY v.id, a.id, l.section_id HAVING sum(l.product) > 0 ORDER BY a.seq"#,
        person,
        day
    )
    .fetch_all(connection)
    .await?;
    for row in rows {
        let section_id: SectionId = read(&row.section_id, "section id")?;
        let (area, division, mask): (i64, Option<i64>, Option<u16>) = read_json(&row.line, "line of a record")?;
        let covered = named.divisions.get(&section_id).map(|known| covered(known, area, division, mask));
        let of_visit = named.recorded.entry(read(&row.id, "visit id")?).or_default();
        let before = of_visit.iter().position(|one| one.section_id == section_id).map(|at| of_visit.swap_remove(at));
        let (before, mut parts) = before.map_or((0, Vec::new()), |one| (one.treated_area_sqft.raw(), one.parts));
        let treated = before + area;
        parts.extend(covered.unwrap_or_default().into_iter().filter(|part| !parts.contains(part)).collect::<Vec<_>>());
        of_visit.push(RecordedSection {
            section_id,
            treated_area_sqft: Area::from_raw(treated),
            open_area_sqft: (row.whole > treated).then(|| Area::from_raw(row.whole - treated)),
            parts,
        });
    }
    Ok(())
}

/// The parts that a line names and covers wholly. One that lies in an earlier division may be any ground of this one.
fn covered(known: &Division, area: i64, division: Option<i64>, mask: Option<u16>) -> Vec<PartName> {
    let Some(lies) = parts_of(division, mask).filter(|lies| lies.division == known.number) else { return Vec::new() };
    let together: i64 = known.named(lies.mask).map(|part| part.area.raw()).sum();
    if area < together {
        return Vec::new();
    }
    known.named(lies.mask).map(|part| PartName(part.name.clone())).collect()
}
