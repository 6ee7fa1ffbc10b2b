//! What was added to records after they were written. Only ever inserted.

use std::collections::HashMap;

use domain::{
    ids::{AdditionId, ApplicationId, DeviceId, PersonId},
    time::Instant,
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor};
use utoipa::ToSchema;

use crate::{
    acts::{
        effects::PersonalTextsRow,
        particulars::{Particulars, PersonalTexts},
        seen::SeenFacts,
    },
    secret::sha256,
    store::{enum_text, id_list, read, read_enum, read_instant, read_json},
};

/// What was added to a record. It stands beside what was fixed when the record was written, and changes nothing of it.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Addition {
    pub id: AdditionId,
    pub application_id: ApplicationId,
    /// Who added it.
    pub person_id: PersonId,
    pub device_id: Option<DeviceId>,
    pub entered_at: Instant,
    /// What somebody saw or did.
    pub seen: Option<SeenFacts>,
    /// What the book said, when this was added, of the day of the work.
    pub particulars: Option<Particulars>,
    /// What the office or the owner explains by its reason, which stands among its texts about people.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub explains: Option<AdditionExplains>,
    /// What it makes doubtful of the record, judged when it was written; left out where it does not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub doubt: Option<AdditionDoubt>,
    /// Its texts about people, where they were asked for and were not destroyed: what whoever made it was called then among them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub texts: Option<PersonalTexts>,
    /// They were destroyed, since they need not be kept any more; left out while they are there.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    #[schema(required = false)]
    pub texts_destroyed: bool,
    /// SHA-256 of the salt and the texts about people, by which the journal vouches for them.
    #[schema(max_length = 64)]
    pub texts_sha256: Option<String>,
}

/// What an addition explains, since nothing can put it right.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AdditionExplains {
    /// Why the record came later than the law wants it.
    LateEntry,
}

/// What an addition makes doubtful of its record. It stands on the owner's list.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AdditionDoubt {
    /// By the distance that it tells, the work went beyond the rules.
    BeyondTheRules,
    /// It tells a shorter distance than the record or an earlier addition.
    ShorterDistance,
}

struct AdditionRow {
    id: String,
    application_id: String,
    person_id: String,
    device_id: Option<String>,
    entered_at: i64,
    seen: Option<String>,
    particulars: Option<String>,
    explains: Option<String>,
    doubt: Option<String>,
    salt: Option<String>,
    texts: Option<String>,
    destroyed_by: Option<i64>,
}

impl TryFrom<AdditionRow> for Addition {
    type Error = sqlx::Error;

    fn try_from(row: AdditionRow) -> Result<Self, sqlx::Error> {
        let seen: Option<SeenFacts> = row.seen.as_deref().map(|text| read_json(text, "what was seen")).transpose()?;
        let hashed = row.salt.zip(row.texts.clone()).map(|(salt, body)| sha256(format!("{salt}{body}")));
        Ok(Self {
            id: read(&row.id, "addition id")?,
            application_id: read(&row.application_id, "application id")?,
            person_id: read(&row.person_id, "person id")?,
            device_id: row.device_id.as_deref().map(|id| read(id, "device id")).transpose()?,
            entered_at: read_instant(row.entered_at)?,
            seen: seen.filter(|seen| !seen.is_empty()),
            explains: row.explains.as_deref().map(|text| read_enum(text, "what an addition explains")).transpose()?,
            doubt: row.doubt.as_deref().map(|text| read_enum(text, "doubt of an addition")).transpose()?,
            particulars: row.particulars.as_deref().map(|text| read_json(text, "particulars")).transpose()?,
            texts: row.texts.as_deref().map(|text| read_json(text, "personal texts")).transpose()?,
            texts_destroyed: row.destroyed_by.is_some(),
            texts_sha256: hashed,
        })
    }
}

/// Everything that was added to some records, oldest first.
pub async fn list(
    executor: impl SqliteExecutor<'_>,
    applications: &[ApplicationId],
) -> Result<HashMap<ApplicationId, Vec<Addition>>, sqlx::Error> {
    let wanted = id_list(applications)?;
    let rows = sqlx::query_as!(
        AdditionRow,
        r#"SELECT x.id AS "id!", x.application_id AS "application_id!", x.person_id AS "person_id!", x.device_id,
                  x.entered_at AS "entered_at!", x.seen, x.particulars, x.explains, x.doubt, t.salt AS "salt?", t.body AS "texts?", t.destroyed_by AS "destroyed_by?"
           FROM json_each($1) AS w CROSS JOIN record_additions AS x LEFT JOIN personal_texts AS t ON t.record_id = x.id
           WHERE x.application_id = w.value ORDER BY x.seq"#,
        wanted
    )
    .fetch_all(executor)
    .await?;
    let mut found = HashMap::<ApplicationId, Vec<Addition>>::new();
    for row in rows {
        let addition = Addition::try_from(row)?;
        found.entry(addition.application_id).or_default().push(addition);
    }
    Ok(found)
}

/// One addition, without its texts about people: as it was answered and as the journal has it.
pub async fn get(executor: impl SqliteExecutor<'_>, id: AdditionId) -> Result<Option<Addition>, sqlx::Error> {
    let key = id.to_string();
    let row = sqlx::query_as!(
        AdditionRow,
        r#"SELECT x.id AS "id!", x.application_id AS "application_id!", x.person_id AS "person_id!", x.device_id,
                  x.entered_at AS "entered_at!", x.seen, x.particulars, x.explains, x.doubt, t.salt AS "salt?", t.body AS "texts?", t.destroyed_by AS "destroyed_by?"
           FROM record_additions AS x LEFT JOIN personal_texts AS t ON t.record_id = x.id WHERE x.id = $1"#,
        key
    )
    .fetch_optional(executor)
    .await?;
    row.map(Addition::try_from).transpose().map(|found| found.map(|found| Addition { texts: None, ..found }))
}

/// Keeps an addition, with its texts about people.
pub async fn insert(
    connection: &mut SqliteConnection,
    addition: &Addition,
    texts: &PersonalTextsRow,
) -> Result<(), sqlx::Error> {
    let encoded = |error: serde_json::Error| sqlx::Error::Encode(error.into());
    let (id, application) = (addition.id.to_string(), addition.application_id.to_string());
    let (person, device) = (addition.person_id.to_string(), addition.device_id.map(|id| id.to_string()));
    let at = addition.entered_at.millis();
    let explains = addition.explains.as_ref().map(enum_text).transpose()?;
    let doubt = addition.doubt.as_ref().map(enum_text).transpose()?;
    let alone = explains.is_some() && addition.particulars.is_none();
    let seen = addition.seen.clone().or_else(|| alone.then(SeenFacts::default));
    let seen = seen.as_ref().map(serde_json::to_string).transpose().map_err(encoded)?;
    let particulars = addition.particulars.as_ref().map(serde_json::to_string).transpose().map_err(encoded)?;
    sqlx::query!(
        "INSERT INTO record_additions (id, application_id, person_id, device_id, entered_at, seen, particulars, explains, doubt)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        id,
        application,
        person,
        device,
        at,
        seen,
        particulars,
        explains,
        doubt
    )
    .execute(&mut *connection)
    .await?;
    sqlx::query!(
        "INSERT INTO personal_texts (record_id, salt, body) VALUES ($1, $2, $3)",
        texts.record_id,
        texts.salt,
        texts.body
    )
    .execute(connection)
    .await?;
    Ok(())
}
