//! The numbers of the certificates that a record names.

use serde::Deserialize;

use crate::store::read_json;

/// The numbers that a record names, by what was fixed with it and what was added to it. Of a record of earlier versions nothing was
/// fixed; where nothing was added to it either, the book of today tells.
pub(super) fn credential_numbers(
    fixed: Option<&str>,
    added: &str,
    now: Option<&str>,
) -> Result<Vec<String>, sqlx::Error> {
    #[derive(Deserialize)]
    struct Held {
        number: String,
    }
    #[derive(Default, Deserialize)]
    struct Fixed {
        #[serde(default)]
        credentials: Vec<Held>,
    }
    let fixed: Fixed = fixed.map(|text| read_json(text, "particulars")).transpose()?.unwrap_or_default();
    let mut numbers: Vec<String> = fixed.credentials.into_iter().map(|held| held.number).collect();
    let added: Vec<Vec<Held>> = read_json(added, "added certificates")?;
    let known = numbers.len();
    for Held { number } in added.into_iter().flatten() {
        let later = format!("{number} (added later)");
        if !numbers.iter().take(known).any(|one| *one == number) && !numbers.contains(&later) {
            numbers.push(later);
        }
    }
    match now {
        Some(now) if numbers.is_empty() => read_json(now, "credential numbers"),
        _ => Ok(numbers),
    }
}
