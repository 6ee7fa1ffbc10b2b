//! States and counties by their names and codes.

use super::{TABLE, Table, Within, slug};

/// Code and name of every state, by name.
pub(in crate::places) fn states() -> Vec<(String, String)> {
    let mut states: Vec<_> =
        TABLE.iter().flat_map(|table| &table.states).map(|state| (state.code(), state.name.clone())).collect();
    states.sort_by(|(_, one), (_, other)| one.cmp(other));
    states
}

pub(super) fn counties_of(state: &str) -> impl Iterator<Item = Within> {
    let within = |table: &'static Table| {
        let state = table.states.iter().find(|known| known.code() == state)?;
        let counties = table.counties.iter().filter(|county| county.fips / 1_000 == state.fips);
        Some(counties.map(move |county| Within { county, state }))
    };
    TABLE.as_ref().and_then(within).into_iter().flatten()
}

/// The codes of all counties of a state.
pub(in crate::places) fn codes_of(state: &str) -> Vec<String> {
    counties_of(state).filter_map(|within| within.code()).collect()
}

/// The code of a county of a state by what people call it, with or without the word for a county.
pub(in crate::places) fn by_name(state: &str, name: &str) -> Option<String> {
    let wanted = slug(name);
    let wanted = ["-county", "-parish"].iter().find_map(|word| wanted.strip_suffix(word)).unwrap_or(&wanted);
    let code = format!("{state}-{wanted}");
    counties_of(state).filter_map(|within| within.code()).find(|known| *known == code)
}

/// What people call the county of a code.
pub(in crate::places) fn name_of(code: &str) -> Option<String> {
    let state = code.get(..5)?;
    let found = counties_of(state).find(|within| within.code().as_deref() == Some(code))?;
    let name = found.county.name.clone();
    Some(if code.ends_with("-city") && !slug(&name).ends_with("-city") { format!("{name} city") } else { name })
}

/// The word by which codes name a place.
pub(in crate::places) fn word(name: &str) -> String {
    slug(name)
}
