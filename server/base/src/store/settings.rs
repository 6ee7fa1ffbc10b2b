//! How the company writes on its pages, and when it reads the law again: one row.

use std::borrow::Borrow;

use domain::time::Day;
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{
    store::{bad_row, enum_text, read_enum},
    version::{UpdateOutcome, Versioned, Versions},
};

/// The one thing that the journal's entries about settings are about.
pub const SUBJECT: Uuid = Uuid::from_u128(0x0000_0000_0000_7000_8000_0000_0000_0001);

/// In which order pages write a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum DateOrder {
    /// `2026-09-15`, as the API writes it.
    YearMonthDay,
    /// `09/15/2026`.
    MonthDayYear,
}

impl DateOrder {
    pub fn day(self, day: impl Borrow<Day>) -> String {
        let day = *day.borrow();
        match self {
            Self::YearMonthDay => day.to_string(),
            Self::MonthDayYear => day.date().strftime("%m/%d/%Y").to_string(),
        }
    }
}

/// The company's settings as the owner writes them.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "date_order": "month_day_year" }))]
pub struct SettingsInput {
    pub date_order: DateOrder,
    /// Months after its last reading from which on a rule set is to be read again; 12 if left out.
    #[serde(default = "a_year")]
    #[schema(minimum = 1, maximum = 120)]
    pub rule_sets_months: u16,
    /// Minutes after which a sign-in with a password ends that nobody uses; 240 if left out. It ends after 12 hours in any case.
    #[serde(default = "four_hours")]
    #[schema(minimum = 5, maximum = 720)]
    pub idle_minutes: u16,
    /// Days for which the security log is kept; 400 if left out.
    #[serde(default = "a_year_and_a_month")]
    #[schema(minimum = 90, maximum = 3650)]
    pub security_log_days: u16,
}

const fn four_hours() -> u16 {
    240
}

const fn a_year_and_a_month() -> u16 {
    400
}

const fn a_year() -> u16 {
    12
}

/// How the company writes on its pages. The API always writes days year first.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Settings {
    pub date_order: DateOrder,
    /// Months after its last reading from which on a rule set is to be read again.
    #[schema(minimum = 1, maximum = 120)]
    pub rule_sets_months: u16,
    /// Minutes after which a sign-in with a password ends that nobody uses.
    #[schema(minimum = 5, maximum = 720)]
    pub idle_minutes: u16,
    /// Days for which the security log is kept.
    #[schema(minimum = 90, maximum = 3650)]
    pub security_log_days: u16,
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub version: i64,
}

impl Versioned for Settings {
    fn version(&self) -> i64 {
        self.version
    }
}

pub async fn get(executor: impl SqliteExecutor<'_>) -> Result<Settings, sqlx::Error> {
    let row =
        sqlx::query!("SELECT date_order, rule_sets_months, idle_minutes, security_log_days, version FROM settings")
            .fetch_one(executor)
            .await?;
    let number = |stored: i64| u16::try_from(stored).map_err(|error| bad_row("settings")(&error));
    Ok(Settings {
        date_order: read_enum(&row.date_order, "date order")?,
        rule_sets_months: number(row.rule_sets_months)?,
        idle_minutes: number(row.idle_minutes)?,
        security_log_days: number(row.security_log_days)?,
        version: row.version,
    })
}

/// Changes the settings if they are at one of these versions.
pub async fn update(
    connection: &mut SqliteConnection,
    input: &SettingsInput,
    versions: Versions,
) -> Result<UpdateOutcome<Settings>, sqlx::Error> {
    let order = enum_text(&input.date_order)?;
    let done = sqlx::query!(
        "UPDATE settings SET date_order = $1, rule_sets_months = $3, idle_minutes = $4, security_log_days = $5, version = version + 1
         WHERE $2 IS NULL OR version IN (SELECT value FROM json_each($2))",
        order,
        versions,
        input.rule_sets_months,
        input.idle_minutes,
        input.security_log_days
    )
    .execute(&mut *connection)
    .await?;
    Ok(UpdateOutcome::of(done.rows_affected(), Some(get(connection).await?)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_is_written_in_the_order_of_the_company() {
        let day = Day::parse("2026-09-05").ok();
        assert_eq!(day.map(|day| DateOrder::YearMonthDay.day(day)), Some("2026-09-05".to_owned()));
        assert_eq!(day.map(|day| DateOrder::MonthDayYear.day(day)), Some("09/05/2026".to_owned()));
    }
}
