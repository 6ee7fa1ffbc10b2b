//! Where a point lies: the state by its boundary, county and municipality by the nearest named place. A suggestion for a
//! person to confirm, never a decision: a boundary is drawn coarsely here, and the nearest place may lie across one.
//!
//! Boundaries: OpenStreetMap contributors, under the Open Database License. Named places: `GeoNames`, under CC BY 4.0.

use std::sync::LazyLock;

use country_boundaries::{BOUNDARIES_ODBL_360X180, CountryBoundaries, LatLon};
use domain::law::Lawbook;
use reverse_geocoder::ReverseGeocoder;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The code of a rule set, as the list of rule sets shows it.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(transparent)]
#[schema(min_length = 2, max_length = 40, pattern = "^[a-z0-9-]{2,40}$", example = "us-md")]
pub struct RuleSetCode(pub String);

/// What the coordinates say about a place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Suggestion {
    /// Code of the state, in the form of a rule set's; null outside the United States.
    pub state: Option<RuleSetCode>,
    /// Code of the county of the nearest named place, if that place lies in the same state.
    pub county: Option<RuleSetCode>,
    /// Code of the nearest named place itself, if it is so near that the point may lie in it.
    pub municipality: Option<RuleSetCode>,
    /// Those of the codes for which this server has a rule set, to be confirmed by a person.
    #[schema(max_items = 8)]
    pub rule_sets: Vec<RuleSetCode>,
    /// What was found, and what to ask before confirming it.
    #[schema(max_length = 600)]
    pub words: String,
    /// Where the boundaries and the names come from.
    #[schema(max_length = 300)]
    pub source: &'static str,
}

const SOURCE: &str =
    "State boundaries: OpenStreetMap contributors (Open Database License). Named places: GeoNames (CC BY 4.0).";

/// A named place further away than this says nothing about the municipality.
const MUNICIPALITY_KM: f64 = 8.0;
const EARTH_RADIUS_KM: f64 = 6_371.0;

static BOUNDARIES: LazyLock<Option<CountryBoundaries>> = LazyLock::new(|| {
    let read = CountryBoundaries::from_reader(BOUNDARIES_ODBL_360X180);
    read.inspect_err(|error| tracing::error!(%error, "the boundaries cannot be read")).ok()
});
static NAMES: LazyLock<ReverseGeocoder> = LazyLock::new(ReverseGeocoder::new);

/// The code of the state a point lies in, such as `us-md`; nothing outside the United States and on the open sea.
pub fn state_at(latitude: f64, longitude: f64) -> Option<String> {
    let at = LatLon::new(latitude, longitude).ok()?;
    let ids = BOUNDARIES.as_ref()?.ids(at);
    ids.into_iter().find(|id| id.starts_with("US-")).map(str::to_lowercase)
}

/// What the coordinates say, as codes and in words.
pub fn suggest(latitude: f64, longitude: f64, law: &Lawbook) -> Suggestion {
    let Some(state) = state_at(latitude, longitude) else {
        let words = "The coordinates lie in no state of the United States. Check them: west of Greenwich is negative.";
        return Suggestion {
            state: None,
            county: None,
            municipality: None,
            rule_sets: Vec::new(),
            words: words.to_owned(),
            source: SOURCE,
        };
    };
    let found = NAMES.search((latitude, longitude));
    // The library answers the square of the chord on a sphere of radius one.
    let km = found.distance.sqrt() * EARTH_RADIUS_KM;
    let place = found.record;
    let same_state = state_at(place.lat, place.lon).as_ref() == Some(&state);
    let county = same_state.then(|| county_word(&place.admin2)).flatten().map(|word| format!("{state}-{word}"));
    let municipality = (same_state && km <= MUNICIPALITY_KM).then(|| format!("{state}-{}", slug(&place.name)));
    let codes: Vec<String> =
        [Some(state.clone()), county.clone(), municipality.clone()].into_iter().flatten().collect();
    let rule_sets: Vec<RuleSetCode> =
        codes.iter().filter(|code| law.rule_set(code).is_some()).cloned().map(RuleSetCode).collect();
    let words = format!(
        "{} The nearest named place is {}, {}, {km:.0} km away. Ask the county and the municipality which rules of their own they have, then confirm the codes.",
        state_words(&state, law),
        place.name,
        if place.admin2.is_empty() { &place.admin1 } else { &place.admin2 },
    );
    Suggestion {
        state: Some(RuleSetCode(state)),
        county: county.map(RuleSetCode),
        municipality: municipality.map(RuleSetCode),
        rule_sets,
        words,
        source: SOURCE,
    }
}

fn state_words(state: &str, law: &Lawbook) -> String {
    match law.rule_set(state) {
        Some(set) => format!("The coordinates lie in {}.", set.about.name),
        None => format!(
            "The coordinates lie in {}, for which this server has no rule set. That does not mean that there is no law.",
            state.to_uppercase()
        ),
    }
}

/// What does not agree between the coordinates and the codes that were confirmed.
pub fn differs(latitude: f64, longitude: f64, confirmed: &[String]) -> Option<String> {
    let state = state_at(latitude, longitude)?;
    let elsewhere = |code: &&String| **code != state && !code.starts_with(&format!("{state}-"));
    let others: Vec<&str> = confirmed.iter().filter(elsewhere).map(String::as_str).collect();
    (!others.is_empty()).then(|| {
        format!(
            "The coordinates lie in {}, but {} is confirmed. One of the two is wrong, or the place lies at the border.",
            state.to_uppercase(),
            others.join(", ")
        )
    })
}

/// `Anne Arundel County` as a part of a code: `anne-arundel`.
fn county_word(name: &str) -> Option<String> {
    let bare = [" County", " Parish", " Borough", " Census Area", " Municipality"]
        .iter()
        .find_map(|suffix| name.strip_suffix(suffix))
        .unwrap_or(name);
    Some(slug(bare)).filter(|word| !word.is_empty())
}

fn slug(name: &str) -> String {
    let plain: String =
        name.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { ' ' }).collect();
    plain.split_whitespace().collect::<Vec<_>>().join("-")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Towns and their states as `GeoNames` lists them (CC BY 4.0): the other source than the boundaries'. Delmar, Texarkana,
    /// Kansas City and Bristol lie at a border, with a namesake across it.
    #[test]
    fn a_point_is_put_into_its_state() {
        for (latitude, longitude, state) in [
            (38.97845, -76.49218, Some("us-md")), // Annapolis
            (40.2737, -76.88442, Some("us-pa")),  // Harrisburg
            (40.91704, -72.66204, Some("us-ny")), // Riverhead
            (27.96585, -82.8001, Some("us-fl")),  // Clearwater
            (38.45595, -75.57742, Some("us-md")), // Delmar
            (33.42513, -94.04769, Some("us-tx")), // Texarkana
            (33.44179, -94.03769, Some("us-ar")), // Texarkana
            (39.11417, -94.62746, Some("us-ks")), // Kansas City
            (39.09973, -94.57857, Some("us-mo")), // Kansas City
            (36.59649, -82.18847, Some("us-va")), // Bristol
            (51.48, 0.0, None),                   // Greenwich
            (30.0, -40.0, None),                  // the Atlantic
            (91.0, 0.0, None),
        ] {
            assert_eq!(state_at(latitude, longitude).as_deref(), state, "{latitude} {longitude}");
        }
    }

    #[test]
    fn county_and_municipality_are_suggested_and_matched_with_the_law() {
        let law = Lawbook::embedded().unwrap_or_default();
        let clearwater = suggest(27.97, -82.80, &law);
        assert_eq!(clearwater.county, Some(RuleSetCode("us-fl-pinellas".to_owned())));
        assert_eq!(clearwater.municipality, Some(RuleSetCode("us-fl-clearwater".to_owned())));
        let codes: Vec<&str> = clearwater.rule_sets.iter().map(|code| code.0.as_str()).collect();
        assert_eq!(codes, ["us-fl", "us-fl-pinellas"]);
        assert!(clearwater.words.contains("Pinellas County"), "{}", clearwater.words);
        assert_eq!(suggest(30.0, -40.0, &law).rule_sets, []);
    }

    #[test]
    fn a_code_of_another_state_is_noticed() {
        let code = |text: &str| text.to_owned();
        assert_eq!(differs(38.98, -76.49, &[code("us-md")]), None);
        let told = differs(38.98, -76.49, &[code("us-pa"), code("us-md")]);
        assert!(told.is_some_and(|told| told.contains("us-pa") && told.contains("US-MD")));
    }
}
