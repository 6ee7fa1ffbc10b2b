//! Where a property lies: time zones to choose from, rule sets to confirm, and what the coordinates suggest.

use domain::ids::RuleSetCode;
use serde_json::Value;

use super::names;
use crate::{
    pages::form::{Choice, Form},
    places,
    problem::{FieldFault, Problem},
    state::App,
};

/// The name of the box by which a person confirms the rule sets. It is the page's own and no part of the property.
pub const CONFIRMED: &str = "confirmed";

/// The zones of the United States, as `zone.tab` of the IANA time zone database lists them.
const ZONES: [&str; 29] = [
    "America/New_York",
    "America/Detroit",
    "America/Kentucky/Louisville",
    "America/Kentucky/Monticello",
    "America/Indiana/Indianapolis",
    "America/Indiana/Vincennes",
    "America/Indiana/Winamac",
    "America/Indiana/Marengo",
    "America/Indiana/Petersburg",
    "America/Indiana/Vevay",
    "America/Chicago",
    "America/Indiana/Tell_City",
    "America/Indiana/Knox",
    "America/Menominee",
    "America/North_Dakota/Center",
    "America/North_Dakota/New_Salem",
    "America/North_Dakota/Beulah",
    "America/Denver",
    "America/Boise",
    "America/Phoenix",
    "America/Los_Angeles",
    "America/Anchorage",
    "America/Juneau",
    "America/Sitka",
    "America/Metlakatla",
    "America/Yakutat",
    "America/Nome",
    "America/Adak",
    "Pacific/Honolulu",
];

/// The zones to choose from; the one that stands already is among them, whatever it is.
pub fn zones(standing: &str) -> Vec<Choice> {
    let mut all: Vec<Choice> = ZONES.iter().map(|zone| Choice::new(*zone, zone.replace('_', " "))).collect();
    if !standing.is_empty() && !ZONES.contains(&standing) {
        let known = domain::time::zone(standing).is_ok();
        let words = if known { standing.to_owned() } else { format!("{standing} (not known to this server)") };
        all.push(Choice::new(standing, words));
    }
    all
}

/// The rule sets to tick: those of one state, the others aside.
pub fn rule_sets(app: &App, state: Option<&str>) -> Vec<Choice> {
    let law = app.law();
    let sets = law.rule_sets().iter().map(|set| &set.about).filter(|about| about.code != "company");
    let choice = |about: &domain::law::RuleSetAbout| {
        let near = state.is_some_and(|state| about.code == state || about.code.starts_with(&format!("{state}-")));
        let words = format!("{} ({}), read {}", about.name, about.code, about.last_checked);
        Choice { value: about.code.clone(), words, aside: !near }
    };
    sets.map(choice).collect()
}

/// Puts the rule sets of the state that stands in the form before the others.
pub fn order(app: &App, form: &mut Form) {
    let state = form.field("/place/state").map(|field| field.text().to_owned()).filter(|state| !state.is_empty());
    // Without a state, the first of the rule sets says which.
    let first =
        form.field("/rule_sets").and_then(|field| field.value.first().map(|code| code.chars().take(5).collect()));
    let state: Option<String> = state.or(first);
    if let Some(field) = form.field("/rule_sets") {
        field.control = crate::pages::form::Control::Many(rule_sets(app, state.as_deref()));
    }
}

/// Fills in what the coordinates suggest where nothing stands yet, and says what was found. Nothing is stored.
pub async fn suggest(app: &App, form: &mut Form) -> Result<(), Problem> {
    let mut at = |name: &str| {
        let field = form.field(name)?;
        let number = field.json().as_ref().and_then(Value::as_f64);
        if number.is_none() {
            field.faults.push("must be a number of degrees, such as 38.97 or -76.5".to_owned());
        }
        number
    };
    let (latitude, longitude) = (at("/latitude"), at("/longitude"));
    let Some((latitude, longitude)) = latitude.zip(longitude) else {
        order(app, form);
        return Ok(());
    };
    // The first call reads the table of counties, which takes a moment.
    let law = app.law();
    let found = tokio::task::spawn_blocking(move || places::suggest(latitude, longitude, &law)).await;
    let found = found.map_err(|error| Problem::fault(&error))?;
    form.notes.push(format!("Suggested, and nothing is saved yet. {} {}", found.words, found.source));
    for (name, code) in [("/place/state", found.state), ("/place/county", found.county)] {
        if let Some((field, RuleSetCode(code))) =
            form.field(name).zip(code).filter(|(field, _)| field.text().is_empty())
        {
            field.value = vec![code];
        }
    }
    if let Some(field) = form.field("/rule_sets").filter(|field| field.value.is_empty()) {
        field.value = found.rule_sets.into_iter().map(|code| code.0).collect();
    }
    if let Some(field) = form.field(CONFIRMED) {
        field.value.clear();
    }
    order(app, form);
    names::show(form);
    Ok(())
}

/// Rule sets that were not confirmed before need a person's tick.
pub fn confirmed(form: &Form, before: &[RuleSetCode]) -> Vec<FieldFault> {
    let field = |name: &str| form.fields.iter().find(|field| field.name == name);
    let ticked = field(CONFIRMED).is_some_and(crate::pages::form::Field::ticked);
    let chosen = field("/rule_sets").map(|field| field.value.clone()).unwrap_or_default();
    let further = chosen.iter().any(|code| !before.iter().any(|known| known.0 == *code));
    let detail = "is to be ticked first: a rule set binds only when a person has confirmed it";
    if further && !ticked { vec![FieldFault::at(CONFIRMED, "missing", detail)] } else { Vec::new() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_zone_to_choose_is_known_and_the_standing_one_is_among_them() {
        for zone in ZONES {
            let known = domain::time::zone(zone);
            assert_eq!(known.ok().as_ref().and_then(|zone| zone.iana_name()), Some(zone));
        }
        let words: Vec<String> = zones("America/Nowhere").into_iter().map(|choice| choice.words).collect();
        assert!(words.contains(&"America/Nowhere (not known to this server)".to_owned()), "{words:?}");
        assert_eq!(zones("America/Boise").len(), ZONES.len());
    }
}
