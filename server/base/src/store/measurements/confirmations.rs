//! What the office says of what a technician measured or saw, and what waits for it. Only ever inserted.

use domain::{
    ids::{MeasurementId, PersonId},
    time::Instant,
};
use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;
use utoipa::ToSchema;

use crate::store::{read, read_instant};

/// What the office says of what waits.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "holds": true, "note": "The neighbor's strip was bought in May; seen on the plan." }))]
pub struct ConfirmationInput {
    /// Whether product may be reckoned by it from its day on. If not, it stays and never counts.
    pub holds: bool,
    #[serde(default)]
    #[schema(min_length = 1, max_length = 1000, format = "lines")]
    pub note: Option<String>,
}

/// What the office said of what waited.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Confirmation {
    pub holds: bool,
    #[schema(max_length = 1000)]
    pub note: Option<String>,
    pub person_id: PersonId,
    pub confirmed_at: Instant,
}

/// The confirmation as its row becomes JSON.
#[derive(Deserialize)]
pub(in crate::store) struct ConfirmationRow {
    holds: i64,
    note: Option<String>,
    person_id: PersonId,
    confirmed_at: i64,
}

impl ConfirmationRow {
    pub(in crate::store) fn confirmation(self) -> Result<Confirmation, sqlx::Error> {
        let confirmed_at = read_instant(self.confirmed_at)?;
        Ok(Confirmation { holds: self.holds == 1, note: self.note, person_id: self.person_id, confirmed_at })
    }
}

/// Keeps what the office said of a measurement.
pub async fn insert(
    connection: &mut SqliteConnection,
    id: MeasurementId,
    input: &ConfirmationInput,
    person: PersonId,
    at: Instant,
) -> Result<(), sqlx::Error> {
    let (id, person, at) = (id.to_string(), person.to_string(), at.millis());
    sqlx::query!(
        "INSERT INTO measurement_confirmations (measurement_id, holds, note, person_id, confirmed_at) VALUES ($1, $2, $3, $4, $5)",
        id,
        input.holds,
        input.note,
        person,
        at
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Who entered a measurement.
pub async fn measured_by(
    connection: &mut SqliteConnection,
    id: MeasurementId,
) -> Result<Option<PersonId>, sqlx::Error> {
    let id = id.to_string();
    let person = sqlx::query_scalar!(
        r#"SELECT person_id AS "person_id: String" FROM journal WHERE subject_id = $1 AND act = 'measurement.added'"#,
        id
    );
    person.fetch_optional(connection).await?.flatten().map(|person| read(&person, "person id")).transpose()
}
