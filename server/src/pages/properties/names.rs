//! State, county and municipality by their names: people know these, and the codes follow from them.

use serde_json::Value;

use crate::{
    pages::form::{Choice, Form, also},
    places,
    problem::{FieldFault, Problem},
    state::App,
};

const COUNTY: &str = "/place/county";
const TOWN: &str = "/place/municipality";

/// The states to choose from.
pub fn states() -> Vec<Choice> {
    places::states().into_iter().map(|(code, name)| Choice::new(code, name)).collect()
}

/// Shows the names of the codes that stand in a form. A code whose name would not lead back to it stays.
pub fn show(form: &mut Form) {
    let state = form.field("/place/state").map(|field| field.text().to_owned()).unwrap_or_default();
    for name in [COUNTY, TOWN] {
        let Some(field) = form.field(name) else { continue };
        let code = field.text().to_owned();
        let shown = if name == COUNTY { places::county_name(&code) } else { town_name(&state, &code) };
        if let Some(shown) = shown.filter(|shown| code_of(name, &state, shown).as_ref() == Some(&code)) {
            field.value = vec![shown];
        }
    }
}

/// Such as Ocean City of `us-md-ocean-city`.
fn town_name(state: &str, code: &str) -> Option<String> {
    let word = |word: &str| {
        let mut letters = word.chars();
        letters.next().map(|first| first.to_uppercase().chain(letters).collect::<String>())
    };
    let words: Option<Vec<String>> = code.strip_prefix(state)?.strip_prefix('-')?.split('-').map(word).collect();
    words.map(|words| words.join(" "))
}

fn code_of(field: &str, state: &str, typed: &str) -> Option<String> {
    if field == COUNTY { places::county_by_name(state, typed) } else { Some(places::town_by_name(state, typed)) }
}

/// The request of a form, with codes in the place of names.
pub fn body(form: &Form) -> (Value, Vec<FieldFault>) {
    let (mut body, mut faults) = (form.body(), Vec::new());
    let state = body.pointer("/place/state").and_then(Value::as_str).unwrap_or_default().to_owned();
    for name in [COUNTY, TOWN] {
        let Some(value) = body.pointer_mut(name) else { continue };
        let typed = value.as_str().unwrap_or_default().trim().to_owned();
        if typed.is_empty() || typed.starts_with("us-") {
            continue;
        }
        match code_of(name, &state, &typed) {
            _ if state.is_empty() => faults.push(FieldFault::at(name, "missing", "needs its state: choose it first")),
            Some(code) => *value = Value::from(code),
            None => {
                let detail = format!(
                    "“{typed}” is no county of that state. Leave it empty, or have the place suggested from the coordinates"
                );
                faults.push(FieldFault::at(name, "unknown_value", detail));
            }
        }
    }
    (body, faults)
}

/// What the form sends, held against its schema.
pub fn valid<T: serde::de::DeserializeOwned + utoipa::ToSchema>(
    form: &Form,
    app: &App,
) -> Result<crate::extract::Valid<T>, Problem> {
    let (body, faults) = body(form);
    also(form.valid_body(app, body), faults)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pages::form::Field;

    fn form(state: &str, county: &str, town: &str) -> Form {
        let fields = [("/place/state", state), (COUNTY, county), (TOWN, town)];
        let field = |(name, text): (&str, &str)| Field { value: vec![text.to_owned()], ..Field::line(name, name) };
        Form::new("A form", "/", "Save", fields.map(field).into())
    }

    #[test]
    fn names_lead_to_codes_and_codes_to_names() {
        for (name, code) in [
            ("Anne Arundel", "us-md-anne-arundel"),
            ("anne arundel county", "us-md-anne-arundel"),
            ("Baltimore", "us-md-baltimore"),
            ("Baltimore City", "us-md-baltimore-city"),
            ("Prince George's", "us-md-prince-georges"),
            ("us-md-howard", "us-md-howard"),
        ] {
            let (body, faults) = body(&form("us-md", name, ""));
            assert_eq!((body.pointer(COUNTY).and_then(Value::as_str), faults.len()), (Some(code), 0), "{name}");
        }
        let mut shown = form("us-md", "us-md-prince-georges", "us-md-ocean-city");
        show(&mut shown);
        let text =
            |name: &str| shown.fields.iter().find(|field| field.name == name).map(|field| field.text().to_owned());
        assert_eq!(
            (text(COUNTY).unwrap(), text(TOWN).unwrap()),
            ("Prince George's".to_owned(), "Ocean City".to_owned())
        );
        let (again, _) = body(&shown);
        assert_eq!(
            again.pointer("/place"),
            Some(
                &serde_json::json!({ "state": "us-md", "county": "us-md-prince-georges", "municipality": "us-md-ocean-city" })
            )
        );
    }

    #[test]
    fn a_name_that_no_county_has_is_said() {
        let (_, faults) = body(&form("us-md", "Nowhere", ""));
        assert!(faults[0].detail.starts_with("“Nowhere” is no county"), "{faults:?}");
        let (_, faults) = body(&form("", "Howard", ""));
        assert!(faults[0].detail.contains("needs its state"), "{faults:?}");
    }

    #[test]
    fn the_code_of_every_county_has_a_name_that_leads_back() {
        // Through the table of all counties: what does not lead back would stay a code on the page.
        let mut lost = Vec::new();
        for (state, _) in places::states() {
            for code in places::counties_of_state(&state) {
                let mut shown = form(&state, &code, "");
                show(&mut shown);
                if body(&shown).0.pointer(COUNTY).and_then(Value::as_str) != Some(&code) {
                    lost.push(code);
                }
            }
        }
        assert_eq!(lost, [""; 0]);
    }
}
