//! Stored values as the types that they are: a text that does not read is a fault of ours.

/// A row that does not read as what was written is a fault of ours, never a panic.
pub fn bad_row(what: &'static str) -> impl Fn(&dyn std::fmt::Display) -> sqlx::Error {
    move |error| sqlx::Error::Decode(format!("{what}: {error}").into())
}

/// Reads a stored text as a typed value.
pub fn read<T: std::str::FromStr>(text: &str, what: &'static str) -> Result<T, sqlx::Error>
where
    T::Err: std::fmt::Display,
{
    text.parse().map_err(|error| bad_row(what)(&error))
}

/// Reads a stored word (`tall_fescue`) or JSON text as the type whose serde form it is.
pub fn read_enum<T: serde::de::DeserializeOwned>(word: &str, what: &'static str) -> Result<T, sqlx::Error> {
    serde_json::from_value(serde_json::Value::String(word.to_owned())).map_err(|error| bad_row(what)(&error))
}

pub fn read_json<T: serde::de::DeserializeOwned>(text: &str, what: &'static str) -> Result<T, sqlx::Error> {
    serde_json::from_str(text).map_err(|error| bad_row(what)(&error))
}

/// The word by which a value is stored: its serde form.
pub fn enum_text<T: serde::Serialize>(value: &T) -> Result<String, sqlx::Error> {
    match serde_json::to_value(value).map_err(|error| sqlx::Error::Encode(error.into()))? {
        serde_json::Value::String(word) => Ok(word),
        other => Err(sqlx::Error::Encode(format!("{other} is no word").into())),
    }
}

/// Ids as statements take several: a JSON array.
pub fn id_list<T: std::fmt::Display>(ids: &[T]) -> Result<String, sqlx::Error> {
    let ids: Vec<String> = ids.iter().map(ToString::to_string).collect();
    serde_json::to_string(&ids).map_err(|error| sqlx::Error::Encode(error.into()))
}

pub fn read_day(text: &str) -> Result<domain::time::Day, sqlx::Error> {
    domain::time::Day::parse(text).map_err(|error| bad_row("day")(&error))
}

pub fn read_instant(millis: i64) -> Result<domain::time::Instant, sqlx::Error> {
    domain::time::Instant::from_millis(millis).ok_or_else(|| bad_row("instant")(&millis))
}
