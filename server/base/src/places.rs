//! Where a point lies: state and county by their boundaries, and the rule sets that may hold there. A suggestion for a person to
//! confirm, never a decision: boundaries are drawn coarsely here, and those of towns are not known at all.

mod counties;

use domain::{
    ids::RuleSetCode,
    law::{Lawbook, Level, RuleSet},
};
use serde::Serialize;
use utoipa::ToSchema;

use counties::{Found, Within};

/// What the coordinates say about a place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Suggestion {
    /// Code of the state, in the form of a rule set's; null outside the United States.
    pub state: Option<RuleSetCode>,
    /// Code of the county or what stands in its place, such as `us-la-orleans` for a parish or `us-va-fairfax-city` for a city
    /// that belongs to no county; null where there are no counties, as in the District of Columbia.
    pub county: Option<RuleSetCode>,
    /// Codes of other counties whose boundary runs within a mile, the nearest first. Boundaries are drawn coarsely here, so the
    /// point may lie in one of them.
    #[schema(max_items = 40)]
    pub counties_near: Vec<RuleSetCode>,
    /// The rule sets of state and county, as far as this server has them, to be confirmed by a person.
    #[schema(max_items = 8)]
    pub rule_sets: Vec<RuleSetCode>,
    /// Rule sets of towns and other places inside of that county or state. This server does not know their boundaries: a person
    /// confirms the one in which the property lies, if it lies in one.
    #[schema(max_items = 2000)]
    pub local_rule_sets: Vec<RuleSetCode>,
    /// What was found, and what to ask before confirming it.
    #[schema(max_length = 1000)]
    pub words: String,
    /// Where the boundaries come from.
    #[schema(max_length = 300)]
    pub source: &'static str,
}

const SOURCE: &str =
    "Boundaries: US Census Bureau, cartographic boundary files of 2017, as simplified in us-atlas 3.0.1.";
const METRES_IN_A_MILE: f64 = 1_609.344;
/// More places than this are counted in words and not named.
const NAMED: usize = 8;

/// What the coordinates say, as codes and in words.
pub fn suggest(latitude: f64, longitude: f64, law: &Lawbook) -> Suggestion {
    let Some(found) = counties::find(latitude, longitude) else {
        let words = "The coordinates lie in no state of the United States. Check them: west of Greenwich is negative.";
        return Suggestion {
            state: None,
            county: None,
            counties_near: Vec::new(),
            rule_sets: Vec::new(),
            local_rule_sets: Vec::new(),
            words: words.to_owned(),
            source: SOURCE,
        };
    };
    let state = found.within.state.code();
    let county = found.within.code();
    let known = [Some(&state), county.as_ref()].into_iter().flatten().filter(|code| is_of_all(code, law));
    let local = local_rule_sets(&state, county.as_deref(), law);
    Suggestion {
        rule_sets: known.cloned().map(RuleSetCode).collect(),
        counties_near: found.near.iter().map(|near| RuleSetCode(county_or_state(near))).collect(),
        local_rule_sets: local.iter().map(|set| RuleSetCode(set.about.code.clone())).collect(),
        words: words(&found, &local, law),
        state: Some(RuleSetCode(state)),
        county: county.map(RuleSetCode),
        source: SOURCE,
    }
}

/// Code and name of every state, by name.
pub fn states() -> Vec<(String, String)> {
    counties::states()
}

/// The code of a county by its state and by what people call it; nothing where the state has none of that name.
pub fn county_by_name(state: &str, name: &str) -> Option<String> {
    counties::by_name(state, name)
}

/// The codes of all counties of a state.
pub fn counties_of_state(state: &str) -> Vec<String> {
    counties::codes_of(state)
}

/// What people call the county of a code.
pub fn county_name(code: &str) -> Option<String> {
    counties::name_of(code)
}

/// The code of a town by its state and its name: no table of towns is kept here, so any name has one.
pub fn town_by_name(state: &str, name: &str) -> String {
    format!("{state}-{}", counties::word(name))
}

/// Whether there is a rule set by this code that holds in the whole of it. A town may have its county's name and code, and
/// its rules are not the county's.
pub fn is_of_all(code: &str, law: &Lawbook) -> bool {
    law.rule_set(code).is_some_and(|set| set.about.level != Level::Municipality)
}

/// The rule sets inside of a state or of one of its counties that no boundary here decides about.
fn local_rule_sets<'a>(state: &str, county: Option<&str>, law: &'a Lawbook) -> Vec<&'a RuleSet> {
    let elsewhere = |code: &str| Some(code) != county && counties::is_county(code);
    let may_hold = |set: &&RuleSet| {
        let above = law.over(std::slice::from_ref(&set.about.code));
        let inside = above.iter().any(|used| used.code == state) && set.about.code != state;
        let of_county = Some(set.about.code.as_str()) == county && is_of_all(&set.about.code, law);
        inside && !of_county && !above.iter().any(|used| elsewhere(&used.code))
    };
    law.rule_sets().iter().filter(may_hold).collect()
}

fn county_or_state(within: &Within) -> String {
    within.code().unwrap_or_else(|| within.state.code())
}

fn words(found: &Found, local: &[&RuleSet], law: &Lawbook) -> String {
    let (place, state) = (found.within.words(), found.within.state);
    let mut words = Vec::new();
    words.push(if found.metres_outside > 0.0 {
        let miles = found.metres_outside / METRES_IN_A_MILE;
        format!("The coordinates lie {miles:.1} miles outside of {place}, which is the nearest county.")
    } else {
        format!("The coordinates lie in {place}.")
    });
    if law.rule_set(&state.code()).is_none() {
        let name = &state.name;
        words.push(format!("This server has no rule set for {name}. That does not mean that there is no law."));
    }
    if !found.near.is_empty() {
        let near = named(&found.near.iter().map(Within::words).collect::<Vec<_>>(), "counties");
        words.push(format!("Within a mile lies {near}: boundaries are drawn coarsely here, so ask which it is."));
    }
    if !local.is_empty() {
        let names = named(&local.iter().map(|set| set.about.name.clone()).collect::<Vec<_>>(), "places");
        words.push(format!("There are rule sets of places whose boundaries are not known here: {names}."));
        words.push("Confirm the one in which the property lies, if it lies in one.".to_owned());
    }
    let ask = "Ask the county and the municipality which rules of their own they have, then confirm the codes.";
    words.push(ask.to_owned());
    words.join(" ")
}

/// Names one after another, or their number.
fn named(names: &[String], what: &str) -> String {
    if names.len() > NAMED { format!("{} {what}", names.len()) } else { names.join("; ") }
}

/// What does not agree between the coordinates and the codes that were confirmed. Near a border nothing is said: the boundary
/// may be drawn on the wrong side.
pub fn differs(latitude: f64, longitude: f64, confirmed: &[String]) -> Option<String> {
    let agrees = |code: &String, state: &String| code == state || code.starts_with(&format!("{state}-"));
    let inside = counties::inside(latitude, longitude).map(|within| within.state.code());
    if inside.is_some_and(|state| confirmed.iter().all(|code| agrees(code, &state))) {
        return None;
    }
    let found = counties::find(latitude, longitude)?;
    let states: Vec<String> =
        std::iter::once(&found.within).chain(&found.near).map(|within| within.state.code()).collect();
    let elsewhere = |code: &&String| !states.iter().any(|state| agrees(code, state));
    let others: Vec<&str> = confirmed.iter().filter(elsewhere).map(String::as_str).collect();
    (!others.is_empty()).then(|| {
        format!(
            "The coordinates lie in {}, but {} is confirmed. One of the two is wrong.",
            found.within.state.name,
            others.join(", ")
        )
    })
}

#[cfg(test)]
mod tests;
