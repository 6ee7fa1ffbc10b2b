//! The sections of a statement, with property and client, as of its day.

use std::collections::BTreeSet;

use domain::{
    application::Audience,
    dated::Stood,
    facts::SiteFacts,
    ids::{ClientId, PropertyId, SectionId},
    land::{PropertyKind, Species},
    law::Bound,
    parts::{Division, Part},
    quantity::Area,
    time::{Day, Instant},
};
use jiff::tz::TimeZone;
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::{
    About, Span, ids,
    measured::{self, MeasurementPart, SoilPart},
};
use crate::{
    acts::rows,
    scope::Scope,
    store::{
        history::{self, Histories, StoredEntry},
        read, read_day, read_enum, read_instant, read_json,
    },
};

/// A section with its property and client. Everything that is named here stood on the day of the statement.
#[derive(Debug, Clone)]
pub struct SectionPart {
    pub id: SectionId,
    pub name: String,
    pub species: Option<Species>,
    pub property_id: PropertyId,
    pub address: String,
    pub rule_sets: Vec<String>,
    /// Whom and which ground its law is asked for.
    pub bound: Bound,
    pub client_id: ClientId,
    pub client_name: String,
    pub mailing_address: String,
    /// When it was entered.
    pub created_at: Instant,
    pub measurements: Vec<MeasurementPart>,
    pub soil_reports: Vec<SoilPart>,
    /// Every way in which it was divided.
    pub divisions: Vec<Division>,
    /// Days within the span on which the property became another client's.
    pub changed_hands_on: Vec<Day>,
    /// The section, state after state.
    pub section: Stood<SectionPast>,
    /// The property, state after state.
    pub property: Stood<PropertyPast>,
}

/// What a statement names of a section.
#[derive(Debug, Clone, Deserialize)]
pub struct SectionPast {
    pub name: String,
    pub species: Option<Species>,
}

/// What a statement names of a property, and what decides which law binds there.
#[derive(Debug, Clone, Deserialize)]
pub struct PropertyPast {
    pub address: String,
    pub time_zone: String,
    pub rule_sets: Vec<String>,
    #[serde(default = "rows::lawn")]
    pub kind: Option<PropertyKind>,
    #[serde(default = "rows::for_hire")]
    pub worked_by: Audience,
    #[serde(default)]
    pub nutrient_plan_on: Option<Day>,
}

impl PropertyPast {
    /// Whom and which ground law is asked for. A yearly cap hangs on no area.
    pub fn bound(&self) -> Bound {
        let site = SiteFacts { kind: self.kind, plan_on: self.nutrient_plan_on, area: Area::ZERO };
        Bound { audience: self.worked_by, site: Some(site), pesticide: false }
    }
}

/// What a statement names of a client.
#[derive(Debug, Clone, Deserialize)]
pub struct ClientPast {
    pub name: String,
    pub mailing_address: String,
}

/// A row of what stands now.
struct Row {
    id: String,
    name: String,
    species: Option<String>,
    property_id: String,
    address: String,
    time_zone: String,
    rule_sets: String,
    kind: Option<String>,
    worked_by: String,
    nutrient_plan_on: Option<String>,
    client_id: String,
    client_name: String,
    mailing_address: String,
    present_client: String,
    created_at: i64,
    measurements: String,
    divisions: String,
    soil_reports: String,
    changed_hands_on: String,
}

/// A property that is not the client's in the span by what stands now, and may have been by what was known when the span ended.
#[derive(Debug, Clone)]
pub struct LeftProperty {
    pub id: PropertyId,
    pub address: String,
    pub client_id: ClientId,
    pub client_name: String,
    pub mailing_address: String,
}

/// The sections of a statement, with what else must be known to tell it.
#[derive(Debug)]
pub(super) struct Loaded {
    pub sections: Vec<SectionPart>,
    pub left: Vec<LeftProperty>,
    pub histories: Histories,
}

/// The sections, and the entries about whatever of them is not as it was first entered.
pub(super) async fn load(
    connection: &mut SqliteConnection,
    about: About,
    span: Span,
    scope: Scope,
) -> Result<Loaded, sqlx::Error> {
    let rows = rows(connection, about, span, scope).await?;
    let limited = scope.viewer().is_some();
    // Whoever does not see the whole company is not told who a former client was, so nothing of what was entered about one is read.
    let may_be_told = |row: &&Row| !limited || row.client_id == row.present_client;
    let wanted = history::About {
        clients: ids(rows.iter().filter(may_be_told).map(|row| row.client_id.clone())),
        properties: ids(rows.iter().map(|row| row.property_id.clone())),
        sections: ids(rows.iter().map(|row| row.id.clone())),
        changed: true,
    };
    let histories = history::load(connection, &wanted).await?;
    let (mut sections, mut left, mut seen) = (Vec::new(), Vec::new(), BTreeSet::new());
    for row in rows {
        let belongs = match about {
            About::Client(_) => belonged(histories.entries_of(&row.property_id), &row.client_id, span)?,
            _ => true,
        };
        let part = part(row, &histories, span, limited)?;
        if belongs {
            sections.push(part);
        } else if seen.insert(part.property_id) {
            let SectionPart { property_id: id, address, client_id, client_name, mailing_address, .. } = part;
            left.push(LeftProperty { id, address, client_id, client_name, mailing_address });
        }
    }
    Ok(Loaded { sections, left, histories })
}

/// Whether a property was a client's on some day of the span, by everything that was entered. One about which nothing was entered after
/// the first is read for its client alone.
fn belonged(entries: &[StoredEntry], client: &str, span: Span) -> Result<bool, sqlx::Error> {
    let owners = history::owners(&history::history(entries))?;
    let (from, to) = (span.from.to_string(), span.to.to_string());
    let ended = |at: usize| owners.get(at + 1).is_some_and(|(_, since)| *since <= from);
    let within = |(at, (owner, since)): (usize, &(String, String))| owner == client && *since <= to && !ended(at);
    Ok(entries.is_empty() || owners.iter().enumerate().any(within))
}

/// A client's sections are those of the properties that were the client's on some day of the span. Properties of which somebody said after
/// the span whose they are are read, too, if an entry about them ever named the client: they may have been told as the client's.
async fn rows(
    connection: &mut SqliteConnection,
    about: About,
    span: Span,
    scope: Scope,
) -> Result<Vec<Row>, sqlx::Error> {
    let (client, property, section) = about.keys();
    let (person, from, to) = (scope.viewer(), span.from.to_string(), span.to.to_string());
    // No clock is more than so far before the universal one.
    let after = span.to.plus_days(1).starts_at(&TimeZone::UTC).millis() - 14 * 3_600_000;
    sqlx::query_as!(
        Row,
        r#"SELECT s.id AS "id!", s.name AS "name!", s.species, p.id AS "property_id!", p.address AS "address!",
                  p.time_zone AS "time_zone!", p.rule_sets AS "rule_sets!", p.kind, p.worked_by AS "worked_by!", p.nutrient_plan_on,
                  c.id AS "client_id!", c.name AS "client_name!",
                  c.mailing_address AS "mailing_address!", p.client_id AS "present_client!",
                  s.created_at AS "created_at!",
                  (SELECT json_group_array(json_array(m.measured_on, m.place, m.area, m.created_at, m.reason,
                      m.to_confirm, m.waits, (SELECT json_array(c.holds, c.confirmed_at, c.note) FROM measurement_confirmations AS c
                          WHERE c.measurement_id = m.id),
                      (SELECT json_array(t.created_at, t.reason, t.seq) FROM measurements AS t WHERE t.corrects = m.id), m.not_of_this_lawn, m.seq))
                   FROM placed_measurements AS m WHERE m.section_id = s.id) AS "measurements!: String",
                  (SELECT json_group_array(json_array(d.seq, json(d.parts))) FROM divisions AS d WHERE d.section_id = s.id) AS "divisions!: String",
                  (SELECT json_group_array(json_array(r.sampled_on, r.place, r.created_at, r.reason,
                      (SELECT json_array(t.created_at, t.reason, t.seq) FROM soil_reports AS t WHERE t.corrects = r.id), r.not_of_this_lawn, r.seq))
                   FROM placed_soil_reports AS r WHERE r.section_id = s.id) AS "soil_reports!: String",
                  (SELECT json_group_array(o.since) FROM ownerships AS o WHERE o.property_id = p.id AND o.since > $5 AND o.since <= $6
                      AND NOT EXISTS (SELECT 1 FROM ownerships AS n WHERE n.property_id = p.id AND n.since = o.since AND n.seq > o.seq)
                      AND o.client_id <> (SELECT n.client_id FROM ownerships AS n WHERE n.property_id = p.id AND n.since < o.since
                                          ORDER BY n.since DESC, n.seq DESC LIMIT 1))
                   AS "changed_hands_on!: String"
           FROM sections AS s JOIN properties AS p ON p.id = s.property_id
           JOIN clients AS c ON c.id = coalesce($1,
                   (SELECT o.client_id FROM ownerships AS o WHERE o.property_id = p.id AND o.since <= $6 ORDER BY o.since DESC, o.seq DESC LIMIT 1),
                   p.client_id)
           WHERE s.id IN (
                   SELECT y.id FROM ownerships AS o JOIN sections AS y ON y.property_id = o.property_id
                   WHERE o.client_id = $1 AND o.since <= $6 AND NOT EXISTS (
                       SELECT 1 FROM ownerships AS n WHERE n.property_id = o.property_id AND (n.since, n.seq) > (o.since, o.seq)
                         AND (n.since <= $5 OR n.since = o.since))
                   UNION SELECT y.id FROM sections AS y WHERE y.property_id IN (
                       SELECT e.property_id FROM dated_entries AS e INDEXED BY dated_entries_of_owners
                       WHERE $1 IS NOT NULL AND e.property_id IS NOT NULL AND e.id <> e.property_id AND e.entered_at >= $7
                         AND json_type(e.facts, '$.client_id') IS NOT NULL AND EXISTS (
                             SELECT 1 FROM dated_entries AS x WHERE x.property_id = e.property_id AND x.facts ->> 'client_id' = $1))
                   UNION SELECT y.id FROM sections AS y WHERE y.property_id = $2
                   UNION SELECT y.id FROM sections AS y WHERE y.id = $3)
             AND ($4 IS NULL OR EXISTS (SELECT 1 FROM sight AS v WHERE v.property_id = p.id AND v.viewer = $4))
           ORDER BY p.seq, s.seq"#,
        client,
        property,
        section,
        person,
        from,
        to,
        after
    )
    .fetch_all(connection)
    .await
}

/// Whoever does not see the whole company is not told who a former client was.
fn part(row: Row, histories: &Histories, span: Span, limited: bool) -> Result<SectionPart, sqlx::Error> {
    let now = SectionPast {
        name: row.name,
        species: row.species.as_deref().map(|word| read_enum(word, "species")).transpose()?,
    };
    let section = histories.stood(&row.id)?.unwrap_or_else(|| Stood::always(now));
    let now = PropertyPast {
        address: row.address,
        time_zone: row.time_zone,
        rule_sets: read_json(&row.rule_sets, "rule sets")?,
        kind: row.kind.as_deref().map(|kind| read_enum(kind, "kind of property")).transpose()?,
        worked_by: read_enum(&row.worked_by, "who does the work")?,
        nutrient_plan_on: row.nutrient_plan_on.as_deref().map(read_day).transpose()?,
    };
    let property = histories.stood(&row.property_id)?.unwrap_or_else(|| Stood::always(now));
    let now = ClientPast { name: row.client_name, mailing_address: row.mailing_address };
    let former = ClientPast { name: "A former client".to_owned(), mailing_address: String::new() };
    let client = if limited && row.client_id != row.present_client {
        Stood::always(former)
    } else {
        histories.stood(&row.client_id)?.unwrap_or_else(|| Stood::always(now))
    };
    let (turf, place, payer): (&SectionPast, &PropertyPast, &ClientPast) =
        (section.on(span.as_of), property.on(span.as_of), client.on(span.as_of));
    Ok(SectionPart {
        id: read(&row.id, "section id")?,
        name: turf.name.clone(),
        species: turf.species,
        property_id: read(&row.property_id, "property id")?,
        address: place.address.clone(),
        rule_sets: place.rule_sets.clone(),
        bound: place.bound(),
        client_id: read(&row.client_id, "client id")?,
        client_name: payer.name.clone(),
        mailing_address: payer.mailing_address.clone(),
        created_at: read_instant(row.created_at)?,
        measurements: measured::measurements(&row.measurements)?,
        soil_reports: measured::soil_reports(&row.soil_reports)?,
        divisions: divisions(&row.divisions)?,
        changed_hands_on: read_json(&row.changed_hands_on, "ownerships")?,
        section,
        property,
    })
}

/// Divisions as the database gives them: number, and parts with name and area.
pub(in crate::store) fn divisions(text: &str) -> Result<Vec<Division>, sqlx::Error> {
    let kept: Vec<(i64, Vec<(String, i64)>)> = read_json(text, "divisions")?;
    let part = |(name, area): (String, i64)| Part { name, area: Area::from_raw(area) };
    Ok(kept
        .into_iter()
        .map(|(number, parts)| Division { number, parts: parts.into_iter().map(part).collect() })
        .collect())
}
