//! Finding what a caller names: by client, address, telephone number, postal code, product, lot or person.

use domain::ids::{ClientId, PersonId, ProductId, PropertyId};
use sqlx::SqlitePool;

use super::read;

/// A property that was found.
#[derive(Debug)]
pub struct Found {
    pub property_id: PropertyId,
    pub address: String,
    pub client_name: String,
}

/// Something else that was found, by its id and its name.
#[derive(Debug)]
pub struct Named<I> {
    pub id: I,
    pub name: String,
    /// What tells it from others of that name.
    pub beside: String,
}

/// Of each kind so many are found at most.
pub const MOST: i64 = 50;

/// What was typed, as SQLite matches it: it is text, also a percent sign.
fn pattern(text: &str) -> String {
    format!("%{}%", text.replace('\\', "\\\\").replace('%', "\\%").replace('_', "\\_"))
}

/// The digits of what may be a telephone number, as it is kept with whatever stands between them; what else was typed matches none.
fn digits(text: &str) -> String {
    let digits: String = text.chars().filter(char::is_ascii_digit).collect();
    let is_number = text.chars().all(|one| one.is_ascii_digit() || " -().+/".contains(one));
    if is_number && digits.len() >= 4 { format!("%{digits}%") } else { "?".to_owned() }
}

/// Properties whose client, address, telephone number, postal code or applied lot holds a text.
pub async fn properties(pool: &SqlitePool, text: &str) -> Result<Vec<Found>, sqlx::Error> {
    let (pattern, digits) = (pattern(text), digits(text));
    // CROSS JOIN keeps the order: from the few lots of that number to where they went.
    let rows = sqlx::query!(
        r#"SELECT p.id AS "id!", p.address AS "address!", c.name AS "client_name!"
           FROM properties AS p JOIN clients AS c ON c.id = p.client_id
           WHERE c.name LIKE $1 ESCAPE '\' OR p.address LIKE $1 ESCAPE '\' OR p.name LIKE $1 ESCAPE '\' OR p.postal_code LIKE $1 ESCAPE '\'
              OR replace(replace(replace(replace(replace(c.phone, '-', ''), ' ', ''), '(', ''), ')', ''), '.', '') LIKE $3
              OR p.id IN (SELECT a.property_id FROM lots AS l CROSS JOIN applications AS a ON a.lot_id = l.id WHERE l.lot_number LIKE $1 ESCAPE '\')
           ORDER BY c.name, p.address LIMIT $2"#,
        pattern,
        MOST,
        digits
    )
    .fetch_all(pool)
    .await?;
    let found = rows.into_iter().map(|row| {
        Ok(Found { property_id: read(&row.id, "property id")?, address: row.address, client_name: row.client_name })
    });
    found.collect()
}

/// Clients by name, mailing address, e-mail or telephone number.
pub async fn clients(pool: &SqlitePool, text: &str) -> Result<Vec<Named<ClientId>>, sqlx::Error> {
    let (pattern, digits) = (pattern(text), digits(text));
    let rows = sqlx::query!(
        r#"SELECT id AS "id!", name AS "name!", mailing_address AS "beside!" FROM clients
           WHERE name LIKE $1 ESCAPE '\' OR mailing_address LIKE $1 ESCAPE '\' OR email LIKE $1 ESCAPE '\'
              OR replace(replace(replace(replace(replace(phone, '-', ''), ' ', ''), '(', ''), ')', ''), '.', '') LIKE $3
           ORDER BY name LIMIT $2"#,
        pattern,
        MOST,
        digits
    )
    .fetch_all(pool)
    .await?;
    let found =
        rows.into_iter().map(|row| Ok(Named { id: read(&row.id, "client id")?, name: row.name, beside: row.beside }));
    found.collect()
}

/// Products by name or by the number of a lot that was delivered.
pub async fn products(pool: &SqlitePool, text: &str) -> Result<Vec<Named<ProductId>>, sqlx::Error> {
    let pattern = pattern(text);
    let rows = sqlx::query!(
        r#"SELECT p.id AS "id!", p.name AS "name!", COALESCE(group_concat(l.lot_number, ', '), '') AS "beside!: String"
           FROM products AS p LEFT JOIN lots AS l ON l.product_id = p.id AND l.lot_number LIKE $1 ESCAPE '\'
           WHERE p.name LIKE $1 ESCAPE '\' OR l.id IS NOT NULL
           GROUP BY p.id ORDER BY p.name LIMIT $2"#,
        pattern,
        MOST
    )
    .fetch_all(pool)
    .await?;
    let found =
        rows.into_iter().map(|row| Ok(Named { id: read(&row.id, "product id")?, name: row.name, beside: row.beside }));
    found.collect()
}

/// People by name.
pub async fn people(pool: &SqlitePool, text: &str) -> Result<Vec<Named<PersonId>>, sqlx::Error> {
    let pattern = pattern(text);
    let rows = sqlx::query!(
        r#"SELECT id AS "id!", name AS "name!", role AS "beside!" FROM people WHERE name LIKE $1 ESCAPE '\' ORDER BY name LIMIT $2"#,
        pattern,
        MOST
    )
    .fetch_all(pool)
    .await?;
    let found =
        rows.into_iter().map(|row| Ok(Named { id: read(&row.id, "person id")?, name: row.name, beside: row.beside }));
    found.collect()
}

#[cfg(test)]
mod tests {
    use super::{digits, pattern};

    #[test]
    fn what_is_typed_is_text_and_only_a_number_is_a_telephone_number() {
        assert_eq!(pattern("50%_\\"), "%50\\%\\_\\\\%");
        assert_eq!(digits("(410) 555-0100"), "%4105550100%");
        for other in ["Elm 4100", "410", "", "4.10 lb"] {
            assert_eq!(digits(other), "?", "{other}");
        }
    }
}
