//! What is counted, and lists that are held against the journal as a whole.

use sqlx::SqliteConnection;

/// How many rows each table has that only the office, the owner or a refusal fills.
pub async fn counts(connection: &mut SqliteConnection) -> Result<Vec<(String, i64)>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT 'clients' AS "name!: String", count(*) AS "rows!: i64" FROM clients
           UNION ALL SELECT 'properties', count(*) FROM properties
           UNION ALL SELECT 'sections', count(*) FROM sections
           UNION ALL SELECT 'measurements', count(*) FROM measurements
           UNION ALL SELECT 'divisions', count(*) FROM divisions
           UNION ALL SELECT 'measurement_confirmations', count(*) FROM measurement_confirmations
           UNION ALL SELECT 'soil_reports', count(*) FROM soil_reports
           UNION ALL SELECT 'products', count(*) FROM products
           UNION ALL SELECT 'lots', count(*) FROM lots
           UNION ALL SELECT 'visits', count(*) FROM visits
           UNION ALL SELECT 'equipment', count(*) FROM equipment
           UNION ALL SELECT 'calibrations', count(*) FROM calibrations
           UNION ALL SELECT 'dated_entries', count(*) FROM dated_entries WHERE since <> '0001-01-01' AND person_id IS NOT NULL OR corrects IS NOT NULL
           UNION ALL SELECT 'product_files', count(*) FROM product_files
           UNION ALL SELECT 'programmes', count(*) FROM programmes
           UNION ALL SELECT 'people', count(*) FROM people
           UNION ALL SELECT 'credentials', count(*) FROM credentials
           UNION ALL SELECT 'devices', count(*) FROM devices
           UNION ALL SELECT 'enrolment_codes', count(*) FROM enrolment_codes
           UNION ALL SELECT 'password_codes', count(*) FROM password_codes
           UNION ALL SELECT 'reviews', count(*) FROM reviews
           UNION ALL SELECT 'attempts', count(*) FROM attempts
           UNION ALL SELECT 'personal_texts', count(*) FROM personal_texts
           UNION ALL SELECT 'record_additions', count(*) FROM record_additions
           UNION ALL SELECT 'clearance_ends', count(*) FROM clearance_ends
           UNION ALL SELECT 'stock_movements', count(*) FROM stock_movements
           UNION ALL SELECT 'limit_moves', count(*) FROM limit_moves
           UNION ALL SELECT 'sightings', count(*) FROM sightings
           UNION ALL SELECT 'sighting_confirmations', count(*) FROM sighting_confirmations
           UNION ALL SELECT 'passes', count(*) FROM passes
           UNION ALL SELECT 'pass_ends', count(*) FROM pass_ends
           UNION ALL SELECT 'signing_key', count(*) FROM signing_key
           UNION ALL SELECT 'rule_set_uses', count(*) FROM rule_set_uses WHERE id IS NOT NULL
           UNION ALL SELECT 'settings', CASE WHEN version = 1 AND (date_order <> 'year_month_day' OR rule_sets_months <> 12 OR idle_minutes <> 240 OR security_log_days <> 400) THEN 1 ELSE version - 1 END FROM settings"#
    )
    .fetch_all(connection)
    .await?;
    Ok(rows.into_iter().map(|row| (row.name, row.rows)).collect())
}

/// Whose each property is and was: property, client and first day, in the order in which they were written.
pub async fn owners(connection: &mut SqliteConnection) -> Result<Vec<(String, String, String)>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT property_id AS "property_id!", client_id AS "client_id!", since AS "since!" FROM ownerships ORDER BY seq"#
    )
    .fetch_all(connection)
    .await?;
    Ok(rows.into_iter().map(|row| (row.property_id, row.client_id, row.since)).collect())
}

/// Who was sent where: person, property, and since when.
pub async fn assignments(connection: &mut SqliteConnection) -> Result<Vec<(String, String, i64)>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT person_id AS "person_id!", property_id AS "property_id!", since AS "since!" FROM assignments
           ORDER BY person_id, property_id"#
    );
    Ok(rows.fetch_all(connection).await?.into_iter().map(|row| (row.person_id, row.property_id, row.since)).collect())
}

/// The next answers of weather services after a sequence number: sequence number, hash, compressed bytes.
pub async fn weather_bodies(
    connection: &mut SqliteConnection,
    after: i64,
    take: i64,
) -> Result<Vec<(i64, String, Vec<u8>)>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT seq AS "seq!", sha256 AS "sha256!", bytes AS "bytes!" FROM weather_bodies WHERE seq > $1 ORDER BY seq LIMIT $2"#,
        after,
        take
    )
    .fetch_all(connection)
    .await?;
    Ok(rows.into_iter().map(|row| (row.seq, row.sha256, row.bytes)).collect())
}

/// How many of the first entries of the journal are there, and how many of them name another hash than that of the one before.
pub async fn links(connection: &mut SqliteConnection, upto: i64) -> Result<(i64, i64), sqlx::Error> {
    let row = sqlx::query!(
        r#"SELECT count(*) AS "entries!: i64", count(*) FILTER (WHERE j.seq > 1 AND b.hash IS NOT j.previous_hash) AS "broken!: i64"
           FROM journal AS j LEFT JOIN journal AS b ON b.seq = j.seq - 1 WHERE j.seq BETWEEN 1 AND $1"#,
        upto
    );
    let row = row.fetch_one(connection).await?;
    Ok((row.entries, row.broken))
}
