//! Every section's year in sums, for the owner's overview.

mod told_later;

use std::collections::BTreeMap;

use domain::{
    dated::Stood,
    ids::{ClientId, PropertyId, SectionId},
    land::Species,
    law::Bound,
    product::Nutrients,
    quantity::{Area, Phosphate, Potash, QuickNitrogen, TotalNitrogen},
    statement::caps::{DAYS_BEFORE, DatedLoad, DatedLoads},
    time::Day,
};
use serde::{Deserialize, Deserializer};
use sqlx::SqlitePool;

use crate::acts::ground::parts_of;

use super::{
    ReadTransaction, bad_row,
    history::{self, Histories},
    read, read_day, read_enum, read_json,
    statements::{ClientPast, PropertyPast, SectionPast, Span, ids},
};

pub use told_later::{added_later, told_later};

/// A section's sums for the company's year.
#[derive(Debug)]
pub struct YearSum {
    pub section_id: SectionId,
    pub property_id: PropertyId,
    pub client_id: ClientId,
    pub species: Option<Species>,
    pub rule_sets: Vec<String>,
    /// Whom and which ground its law is asked for.
    pub bound: Bound,
    pub client_name: String,
    pub address: String,
    pub section_name: String,
    /// Area in hundredths of a square foot; nitrogen, quick nitrogen, phosphate and potash in ten-billionths of a pound,
    /// added up for each treated area and the parts that it lies in: the division's number, and its parts.
    pub loads: Vec<Load>,
    /// The same loads on their days, with those of the days before the year that lie in one year of 365 days with its first.
    pub dated: DatedLoads,
    /// Visits that are still to be made: day, and nitrogen target in millionths of a pound on 1,000 sq ft.
    pub planned: Vec<(Day, i64)>,
    /// What stands treated in the year, apart by the law of the days.
    pub treated: Vec<TreatedGround>,
}

/// Ground of a section on which something stands put down while it and those who worked there were bound alike.
#[derive(Debug)]
pub struct TreatedGround {
    pub rule_sets: Vec<String>,
    pub bound: Bound,
    /// The areas of its lines added up, in hundredths of a square foot, whether or not they are the same ground.
    pub lines: i64,
    /// How much it can be at most: the largest of those areas, or of what the section was measured on the day of a line that may be
    /// a part of it.
    pub most: i64,
}

/// Area, nitrogen, quick nitrogen, phosphate, potash, division and parts.
pub type Load = (i64, i64, i64, i64, i64, Option<i64>, Option<u16>);

/// Every section's year, read from a covering index, under the client whose it was at its end.
pub async fn company_year(pool: &SqlitePool, span: Span) -> Result<Vec<YearSum>, sqlx::Error> {
    let mut moment = ReadTransaction::begin(pool).await?;
    let (to, today) = (span.to.to_string(), span.as_of.to_string());
    let before = span.from.plus_days(-DAYS_BEFORE).to_string();
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT s.id AS "section_id!", p.id AS "property_id!", s.name AS "section_name!", s.species, p.address AS "address!", p.rule_sets AS "rule_sets!",
                  p.kind, p.worked_by AS "worked_by!", p.nutrient_plan_on,
                  c.id AS "client_id!", c.name AS "client_name!",
                  (SELECT json_group_array(json_array(l.applied_on, l.area, l.nitrogen, l.quick_nitrogen, l.phosphate, l.potash, l.division, l.parts))
                   FROM application_lines AS l WHERE l.section_id = s.id AND l.applied_on BETWEEN $3 AND $1) AS "loads!: String",
                  (SELECT json_group_array(json_array(x.planned_on, x.target)) FROM (
                      SELECT v.planned_on, v.target_nitrogen AS target
                      FROM visit_sections AS w JOIN visits AS v ON v.id = w.visit_id
                      WHERE w.section_id = s.id AND v.status = 'planned' AND v.planned_on BETWEEN $2 AND $1 AND v.target_nitrogen IS NOT NULL
                        AND EXISTS (SELECT 1 FROM untreated_visit_sections AS u WHERE u.visit_id = v.id AND u.section_id = s.id)
                      ORDER BY v.planned_on) AS x) AS "planned!: String",
                  (SELECT json_group_array(json_array(m.measured_on, m.place, m.area)) FROM counted_measurements AS m
                      WHERE m.section_id = s.id AND m.measured_on <= $1) AS "measured!: String", p.time_zone AS "time_zone!",
                  c.mailing_address AS "mailing_address!"
           FROM sections AS s JOIN properties AS p ON p.id = s.property_id
           JOIN clients AS c ON c.id = coalesce(
               (SELECT o.client_id FROM ownerships AS o WHERE o.property_id = p.id AND o.since <= $1 ORDER BY o.since DESC, o.seq DESC LIMIT 1),
               p.client_id)
           ORDER BY c.seq, p.seq, s.seq"#,
        to,
        today,
        before
    )
    .fetch_all(&mut *moment)
    .await?;
    let wanted = history::About {
        clients: ids(rows.iter().map(|row| row.client_id.clone())),
        properties: ids(rows.iter().map(|row| row.property_id.clone())),
        sections: ids(rows.iter().map(|row| row.section_id.clone())),
        changed: true,
    };
    let histories = history::load(&mut moment, &wanted).await?;
    rows.into_iter().map(|row| sum(row, &histories, span)).collect()
}

/// A row of what stands now.
struct Row {
    section_id: String,
    property_id: String,
    section_name: String,
    species: Option<String>,
    address: String,
    rule_sets: String,
    kind: Option<String>,
    worked_by: String,
    nutrient_plan_on: Option<String>,
    client_id: String,
    client_name: String,
    loads: String,
    planned: String,
    measured: String,
    time_zone: String,
    mailing_address: String,
}

/// A line of the ledger: its day, and the rest of it. SQLite gives both in one array.
struct Line(Day, Load);

impl<'de> Deserialize<'de> for Line {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        type Columns = (Day, i64, i64, i64, i64, i64, Option<i64>, Option<u16>);
        let (on, area, nitrogen, quick, phosphate, potash, division, parts) = Columns::deserialize(deserializer)?;
        Ok(Self(on, (area, nitrogen, quick, phosphate, potash, division, parts)))
    }
}

fn dated(Line(on, (area, nitrogen, quick, phosphate, potash, division, parts)): &Line) -> DatedLoad {
    let nutrients = Nutrients {
        nitrogen_lb: TotalNitrogen::from_raw(*nitrogen),
        quick_nitrogen_lb: QuickNitrogen::from_raw(*quick),
        phosphate_lb: Phosphate::from_raw(*phosphate),
        potash_lb: Potash::from_raw(*potash),
    };
    DatedLoad { on: *on, area: Area::from_raw(*area), parts: parts_of(*division, *parts), nutrients }
}

/// The lines of a section added up. The database would sort a few lines anew for each of thousands of sections.
fn added_up(lines: impl Iterator<Item = Load>) -> Result<Vec<Load>, sqlx::Error> {
    let mut loads: BTreeMap<(i64, Option<i64>, Option<u16>), [i64; 4]> = BTreeMap::new();
    for (area, nitrogen, quick, phosphate, potash, division, parts) in lines {
        let sums = loads.entry((area, division, parts)).or_default();
        for (sum, one) in sums.iter_mut().zip([nitrogen, quick, phosphate, potash]) {
            *sum = sum.checked_add(one).ok_or_else(|| bad_row("yearly loads")(&"they are more than can be"))?;
        }
    }
    let load = |((area, division, parts), [nitrogen, quick, phosphate, potash]): (
        (i64, Option<i64>, Option<u16>),
        [i64; 4],
    )| { (area, nitrogen, quick, phosphate, potash, division, parts) };
    Ok(loads.into_iter().map(load).collect())
}

/// The lines that stand, by the law of their days. What a correction takes back cancels the line that it was; where several of a day
/// are alike, each is ground of its own.
fn treated<'l>(
    lines: impl Iterator<Item = &'l Line>,
    places: &Stood<PropertyPast>,
    measured: &[(Day, i64, i64)],
) -> Vec<TreatedGround> {
    let mut standing: BTreeMap<(Day, i64, Option<u16>), (i64, i128)> = BTreeMap::new();
    for Line(on, (area, nitrogen, quick, phosphate, potash, _, parts)) in lines {
        let load = [nitrogen, quick, phosphate, potash].into_iter().map(|part| i128::from(*part)).sum::<i128>();
        let entry = standing.entry((*on, *area, *parts)).or_default();
        *entry = (entry.0 + i64::try_from(load.signum()).unwrap_or_default(), entry.1 + load);
    }
    let mut found: Vec<TreatedGround> = Vec::new();
    for ((on, area, _), (count, load)) in standing {
        if load <= 0 {
            continue;
        }
        let place = places.on(on);
        let stood = measured.iter().filter(|(day, ..)| *day <= on).max_by_key(|(day, place, _)| (*day, *place));
        let (lines, most) = (area * count.max(1), stood.map_or(area, |(.., whole)| area.max(*whole)));
        if let Some(ground) =
            found.iter_mut().find(|ground| ground.bound == place.bound() && ground.rule_sets == place.rule_sets)
        {
            (ground.lines, ground.most) = (ground.lines + lines, ground.most.max(most));
        } else {
            let rule_sets = place.rule_sets.clone();
            found.push(TreatedGround { rule_sets, bound: place.bound(), lines, most });
        }
    }
    found
}

fn sum(row: Row, histories: &Histories, span: Span) -> Result<YearSum, sqlx::Error> {
    let on = span.as_of;
    let turf: Option<Stood<SectionPast>> = histories.stood(&row.section_id)?;
    let turf = match &turf {
        Some(turf) => turf.on(on).clone(),
        None => SectionPast {
            name: row.section_name,
            species: row.species.as_deref().map(|word| read_enum(word, "species")).transpose()?,
        },
    };
    let places = match histories.stood(&row.property_id)? {
        Some(places) => places,
        None => Stood::always(PropertyPast {
            address: row.address,
            time_zone: row.time_zone,
            rule_sets: read_json(&row.rule_sets, "rule sets")?,
            kind: row.kind.as_deref().map(|kind| read_enum(kind, "kind of property")).transpose()?,
            worked_by: read_enum(&row.worked_by, "who does the work")?,
            nutrient_plan_on: row.nutrient_plan_on.as_deref().map(read_day).transpose()?,
        }),
    };
    let place: PropertyPast = places.on(on).clone();
    let payer: Option<Stood<ClientPast>> = histories.stood(&row.client_id)?;
    let payer = match &payer {
        Some(payer) => payer.on(on).clone(),
        None => ClientPast { name: row.client_name, mailing_address: row.mailing_address },
    };
    let lines: Vec<Line> = read_json(&row.loads, "yearly loads")?;
    let within = || lines.iter().filter(|line| line.0 >= span.from);
    let loads = added_up(within().map(|line| line.1))?;
    let measured: Vec<(Day, i64, i64)> = read_json(&row.measured, "measurements")?;
    Ok(YearSum {
        section_id: read(&row.section_id, "section id")?,
        property_id: read(&row.property_id, "property id")?,
        client_id: read(&row.client_id, "client id")?,
        species: turf.species,
        bound: place.bound(),
        rule_sets: place.rule_sets,
        client_name: payer.name,
        address: place.address,
        section_name: turf.name,
        loads,
        dated: DatedLoads::new(lines.iter().map(dated).collect()),
        planned: read_json(&row.planned, "planned visits")?,
        treated: treated(within(), &places, &measured),
    })
}
