//! What a new company has entered so far, of what a decision needs.

use sqlx::SqlitePool;

/// Whether there is one of each.
#[derive(Debug, Clone, Copy)]
#[expect(clippy::struct_excessive_bools, reason = "each is there or not, whatever the others are")]
pub struct Entered {
    pub product: bool,
    pub client: bool,
    pub rule_sets: bool,
    pub measured_section: bool,
    pub soil_report: bool,
    pub technician: bool,
    pub visit: bool,
    pub phone: bool,
    pub record: bool,
}

pub async fn entered(pool: &SqlitePool) -> Result<Entered, sqlx::Error> {
    sqlx::query_as!(
        Entered,
        r#"SELECT EXISTS (SELECT 1 FROM products) AS "product!: bool",
                  EXISTS (SELECT 1 FROM clients) AS "client!: bool",
                  EXISTS (SELECT 1 FROM properties WHERE rule_sets <> '[]') AS "rule_sets!: bool",
                  EXISTS (SELECT 1 FROM measurements) AS "measured_section!: bool",
                  EXISTS (SELECT 1 FROM soil_reports) AS "soil_report!: bool",
                  EXISTS (SELECT 1 FROM people WHERE role = 'technician') AS "technician!: bool",
                  EXISTS (SELECT 1 FROM visits) AS "visit!: bool",
                  EXISTS (SELECT 1 FROM devices) AS "phone!: bool",
                  EXISTS (SELECT 1 FROM applications) AS "record!: bool""#
    )
    .fetch_one(pool)
    .await
}
