//! Which area counts on which day.

use domain::{ids::SectionId, quantity::Area, time::Day};
use sqlx::SqliteConnection;

/// The area by which product is reckoned on a section on a day: of the latest measurement by then, else of the earliest.
pub async fn area_on(
    connection: &mut SqliteConnection,
    section: SectionId,
    day: Day,
) -> Result<Option<Area>, sqlx::Error> {
    let (section, day) = (section.to_string(), day.to_string());
    let area = sqlx::query_scalar!(
        r#"SELECT coalesce(
               (SELECT m.area FROM counted_measurements AS m WHERE m.section_id = $1 AND m.measured_on <= $2
                ORDER BY m.measured_on DESC, m.place DESC LIMIT 1),
               (SELECT m.area FROM counted_measurements AS m WHERE m.section_id = $1 ORDER BY m.measured_on, m.place LIMIT 1))
           AS "area: i64""#,
        section,
        day
    );
    Ok(area.fetch_one(connection).await?.map(Area::from_raw))
}

/// The first day whose area hangs on what was measured on a day: earlier ones do where nothing that counts was measured before.
pub async fn reaches_back_to(
    connection: &mut SqliteConnection,
    section: SectionId,
    day: Day,
) -> Result<Day, sqlx::Error> {
    let (of, before) = (section.to_string(), day.to_string());
    let known = sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT 1 FROM counted_measurements AS m WHERE m.section_id = $1 AND m.measured_on < $2) AS "known!: bool""#,
        of,
        before
    );
    Ok(if known.fetch_one(connection).await? { day } else { Day::FIRST })
}
