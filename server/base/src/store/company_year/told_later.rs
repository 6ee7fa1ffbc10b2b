//! Of which places something came into the book after a span had ended that may count in it.

use std::collections::HashSet;

use domain::{
    ids::{PropertyId, SectionId},
    time::Instant,
};
use sqlx::SqlitePool;

use crate::store::{read, statements::Span};

/// What decides a figure or a name of the company's year.
const NAMED: &str = r#"["name","address","rule_sets","kind","worked_by","nutrient_plan_on","client_id","species"]"#;

/// Properties of which a record, a correction, a measurement, a lawn or an entry about facts was written after a moment and may count in
/// a span that had ended by then. A place that was entered only after it is none of them: its lawns say so themselves. Whether it
/// changes a figure is for their statements to say.
pub async fn told_later(pool: &SqlitePool, span: Span, ended: Instant) -> Result<HashSet<PropertyId>, sqlx::Error> {
    let (from, to, ended) = (span.from.to_string(), span.to.to_string(), ended.millis());
    let rows = sqlx::query_scalar!(
        r#"SELECT p.id AS "id!: String" FROM properties AS p
           WHERE p.id IN (
               SELECT a.property_id FROM applications AS a INDEXED BY applications_by_day WHERE a.applied_on BETWEEN $1 AND $2
                 AND (a.received_at > $3 OR EXISTS (
                     SELECT 1 FROM corrections AS c WHERE c.application_id = a.id AND c.received_at > $3)))
             OR EXISTS (
               SELECT 1 FROM dated_entries AS e LEFT JOIN dated_entries AS w ON w.seq = e.corrects
               WHERE e.property_id = p.id AND e.entered_at > $3 AND e.person_id IS NOT NULL AND p.created_at <= $3
                 AND min(e.since, coalesce(w.since, e.since)) <= $2
                 AND EXISTS (SELECT 1 FROM json_each(e.facts) AS f JOIN json_each($4) AS n ON n.value = f.key))
             OR EXISTS (
               SELECT 1 FROM dated_entries AS e LEFT JOIN dated_entries AS w ON w.seq = e.corrects
               WHERE e.client_id = (SELECT o.client_id FROM ownerships AS o WHERE o.property_id = p.id AND o.since <= $2
                                    ORDER BY o.since DESC, o.seq DESC LIMIT 1)
                 AND e.entered_at > $3 AND e.person_id IS NOT NULL AND p.created_at <= $3
                 AND min(e.since, coalesce(w.since, e.since)) <= $2 AND json_type(e.facts, '$.name') IS NOT NULL)
             OR EXISTS (
               SELECT 1 FROM sections AS s
               WHERE s.property_id = p.id AND p.created_at <= $3 AND (
                   s.created_at > $3
                   OR EXISTS (
                     SELECT 1 FROM dated_entries AS e LEFT JOIN dated_entries AS w ON w.seq = e.corrects
                     WHERE e.section_id = s.id AND e.entered_at > $3 AND e.person_id IS NOT NULL AND min(e.since, coalesce(w.since, e.since)) <= $2
                       AND EXISTS (SELECT 1 FROM json_each(e.facts) AS f JOIN json_each($4) AS n ON n.value = f.key))
                   OR EXISTS (
                     SELECT 1 FROM measurements AS m LEFT JOIN measurement_confirmations AS k ON k.measurement_id = m.id
                     LEFT JOIN measurements AS w ON w.id = m.corrects
                     WHERE m.section_id = s.id AND min(m.measured_on, coalesce(w.measured_on, m.measured_on)) <= $2
                       AND max(m.created_at, coalesce(k.confirmed_at, 0)) > $3)))"#,
        from,
        to,
        ended,
        NAMED
    );
    rows.fetch_all(pool).await?.iter().map(|id| read(id, "property id")).collect()
}

/// Lawns that came into the book after a moment.
pub async fn added_later(pool: &SqlitePool, ended: Instant) -> Result<HashSet<SectionId>, sqlx::Error> {
    let ended = ended.millis();
    let rows = sqlx::query_scalar!(r#"SELECT id AS "id!: String" FROM sections WHERE created_at > $1"#, ended);
    rows.fetch_all(pool).await?.iter().map(|id| read(id, "section id")).collect()
}
