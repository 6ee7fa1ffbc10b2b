//! What was fixed with a record when it was written, and where the journal has it.

use std::collections::HashMap;

use domain::{
    ids::{ApplicationId, ClientId, SectionId},
    time::{Day, Instant},
};
use sqlx::{SqliteConnection, SqliteExecutor};

use crate::{
    acts::particulars::{Particulars, PersonalTexts, SectionThen},
    secret::sha256,
    store::{id_list, packing::Unpacker, read, read_day, read_instant, read_json},
};

/// What was fixed with a record.
#[derive(Debug, Clone)]
pub struct Kept {
    /// Nothing for the records of earlier versions.
    pub particulars: Option<Particulars>,
    /// What was fixed of sections with the corrections that named them first, oldest first. Nothing for those of earlier versions.
    pub sections_since: Vec<SectionThen>,
    pub sha256: Option<String>,
    pub texts: Option<PersonalTexts>,
    /// Its texts about people were there and were destroyed.
    pub destroyed: bool,
    /// The journal's entry of the record.
    pub journal_seq: i64,
    pub journal_hash: String,
}

/// A record of a property that has changed hands: whose it is now, and whose it was on the day of the work by what is known now.
#[derive(Debug)]
pub struct Owned {
    pub record: ApplicationId,
    pub now: ClientId,
    pub then: Option<ClientId>,
}

/// Those of some records whose property has changed hands, or was ever said to have.
pub async fn changed_hands(
    connection: &mut SqliteConnection,
    records: &[ApplicationId],
) -> Result<Vec<Owned>, sqlx::Error> {
    let wanted = id_list(records)?;
    let rows = sqlx::query!(
        r#"SELECT a.id AS "id!", p.client_id AS "now!",
                  (SELECT o.client_id FROM ownerships AS o WHERE o.property_id = a.property_id AND o.since <= a.applied_on
                   ORDER BY o.since DESC, o.seq DESC LIMIT 1) AS "owner_then?: String"
           FROM json_each($1) AS w CROSS JOIN applications AS a CROSS JOIN properties AS p
           WHERE a.id = w.value AND p.id = a.property_id AND EXISTS (
               SELECT 1 FROM dated_entries AS e
               WHERE e.property_id = p.id AND e.id <> p.id AND e.facts ->> 'client_id' IS NOT NULL)"#,
        wanted
    )
    .fetch_all(connection)
    .await?;
    let owned = rows.into_iter().map(|row| {
        let then = row.owner_then.as_deref().map(|id| read(id, "client id")).transpose()?;
        Ok(Owned { record: read(&row.id, "application id")?, now: read(&row.now, "client id")?, then })
    });
    owned.collect()
}

/// Stands for whose a property is since the first day known.
const BEFORE_ALL: &str = "0001-01-01";

/// Since when the property of a section is whose it is on a day, with its clock and the moment at which that was entered; nothing where
/// it never was another client's.
pub async fn owned_since(
    executor: impl SqliteExecutor<'_>,
    section: SectionId,
    today: Day,
) -> Result<Option<(Day, String, Instant)>, sqlx::Error> {
    let (section, today) = (section.to_string(), today.to_string());
    let row = sqlx::query!(
        r#"SELECT o.since AS "since!: String", p.time_zone AS "time_zone!: String",
                  (SELECT max(e.entered_at) FROM dated_entries AS e
                   WHERE e.property_id = p.id AND e.id <> p.id AND e.facts ->> 'client_id' = o.client_id) AS "entered_at?: i64"
           FROM sections AS s JOIN properties AS p ON p.id = s.property_id JOIN ownerships AS o ON o.property_id = p.id
           WHERE s.id = $1 AND o.since <= $2
             AND EXISTS (SELECT 1 FROM dated_entries AS x WHERE x.property_id = p.id AND x.facts ->> 'client_id' <> o.client_id)
           ORDER BY o.since DESC, o.seq DESC LIMIT 1"#,
        section,
        today
    );
    let Some(row) = row.fetch_optional(executor).await? else { return Ok(None) };
    let Some(entered_at) = row.entered_at else { return Ok(None) };
    // Whose it is since the first day known has no day of its own.
    let since = if row.since == BEFORE_ALL { Day::FIRST } else { read_day(&row.since)? };
    Ok(Some((since, row.time_zone, read_instant(entered_at)?)))
}

/// What was fixed with some records, by their ids.
pub async fn kept(
    connection: &mut SqliteConnection,
    ids: &[ApplicationId],
) -> Result<HashMap<ApplicationId, Kept>, sqlx::Error> {
    let wanted = id_list(ids)?;
    let rows = sqlx::query!(
        r#"SELECT a.id AS "id!", a.particulars, j.pattern, j.packed, t.body AS "texts?", t.destroyed_by AS "destroyed_by?",
                  j.seq AS "seq!", j.hash AS "hash!",
                  (SELECT json_group_array(json(c.sections)) FROM corrections AS c WHERE c.application_id = a.id AND c.sections IS NOT NULL)
                  AS "sections_since!: String"
           FROM json_each($1) AS w CROSS JOIN applications AS a
           JOIN journal AS j ON j.subject_id = a.id AND j.act = 'application.recorded'
           LEFT JOIN personal_texts AS t ON t.record_id = a.id WHERE a.id = w.value"#,
        wanted
    )
    .fetch_all(&mut *connection)
    .await?;
    let (mut unpacker, mut found) = (Unpacker::default(), HashMap::with_capacity(rows.len()));
    for row in rows {
        let particulars = match (row.pattern, row.packed) {
            (Some(pattern), Some(packed)) => unpacker.unpack(connection, pattern, &packed).await?.particulars,
            _ => row.particulars,
        };
        let since: Vec<Vec<SectionThen>> = read_json(&row.sections_since, "what was fixed with corrections")?;
        let kept = Kept {
            sections_since: since.into_iter().flatten().collect(),
            particulars: particulars.as_deref().map(|text| read_json(text, "particulars")).transpose()?,
            sha256: particulars.as_ref().map(sha256),
            texts: row.texts.as_deref().map(|text| read_json(text, "personal texts")).transpose()?,
            destroyed: row.destroyed_by.is_some(),
            journal_seq: row.seq,
            journal_hash: row.hash,
        };
        found.insert(read(&row.id, "application id")?, kept);
    }
    Ok(found)
}
