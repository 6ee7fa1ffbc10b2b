//! What was fixed with a record when it was written, and where the journal has it.

use domain::ids::ApplicationId;
use sqlx::SqliteConnection;

use crate::{
    acts::particulars::{Particulars, PersonalTexts},
    secret::sha256,
    store::{packing::Unpacker, read_json},
};

/// What was fixed with a record.
#[derive(Debug, Clone)]
pub struct Kept {
    /// Nothing for the records of earlier versions.
    pub particulars: Option<Particulars>,
    pub sha256: Option<String>,
    pub texts: Option<PersonalTexts>,
    /// Its texts about people were there and were destroyed.
    pub destroyed: bool,
    /// The journal's entry of the record.
    pub journal_seq: i64,
    pub journal_hash: String,
}

pub async fn kept(connection: &mut SqliteConnection, id: ApplicationId) -> Result<Option<Kept>, sqlx::Error> {
    let key = id.to_string();
    let row = sqlx::query!(
        r#"SELECT a.particulars, j.pattern, j.packed, t.body AS "texts?", t.destroyed_by AS "destroyed_by?", j.seq AS "seq!", j.hash AS "hash!"
           FROM applications AS a JOIN journal AS j ON j.subject_id = a.id AND j.act = 'application.recorded'
           LEFT JOIN personal_texts AS t ON t.record_id = a.id WHERE a.id = $1"#,
        key
    )
    .fetch_optional(&mut *connection)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let particulars = match (row.pattern, row.packed) {
        (Some(pattern), Some(packed)) => Unpacker::default().unpack(connection, pattern, &packed).await?.particulars,
        _ => row.particulars,
    };
    Ok(Some(Kept {
        particulars: particulars.as_deref().map(|text| read_json(text, "particulars")).transpose()?,
        sha256: particulars.as_ref().map(sha256),
        texts: row.texts.as_deref().map(|text| read_json(text, "personal texts")).transpose()?,
        destroyed: row.destroyed_by.is_some(),
        journal_seq: row.seq,
        journal_hash: row.hash,
    }))
}
