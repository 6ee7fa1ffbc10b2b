//! Who of the staff may be named beside the one who does the work, with what they hold.

use domain::{facts::HeldCredential, ids::PersonId, time::Day};
use sqlx::SqlitePool;

use crate::store::{read, read_json};

/// Somebody of the staff.
#[derive(Debug, Clone)]
pub struct StaffMember {
    pub id: PersonId,
    pub name: String,
    pub held: Vec<HeldCredential>,
}

/// Code, rule set, first and last day.
type HeldRow = (Option<String>, Option<String>, Day, Option<Day>);

/// Everybody who works for the company, in the order of their names.
pub async fn staff(pool: &SqlitePool) -> Result<Vec<StaffMember>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT p.id AS "id!", p.name AS "name!",
                  (SELECT json_group_array(json_array(c.code, c.rule_set, c.valid_from, c.valid_until)) FROM credentials AS c
                     WHERE c.person_id = p.id) AS "held!: String"
           FROM people AS p WHERE p.active = 1 ORDER BY p.name, p.seq"#
    )
    .fetch_all(pool)
    .await?;
    let member = |id: &str, name: String, held: &str| {
        let rows: Vec<HeldRow> = read_json(held, "credentials")?;
        let held = rows.into_iter().map(|(code, rule_set, valid_from, valid_until)| HeldCredential {
            code,
            rule_set,
            valid_from,
            valid_until,
        });
        Ok(StaffMember { id: read(id, "person id")?, name, held: held.collect() })
    };
    rows.into_iter().map(|row| member(&row.id, row.name, &row.held)).collect()
}
