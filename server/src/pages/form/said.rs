//! What a field says: as the JSON that the API takes, and as words that a person reads.

use domain::time::Instant;
use serde_json::Value;

use super::{
    FieldFault,
    choice::Choice,
    field::{Control, Field, Shape},
};

/// The choice that says null, where to leave a member out means something else.
pub const NULL: &str = "null";

impl Field {
    /// Takes what a stored thing has.
    pub fn fill(&mut self, stored: &Value) {
        let nobody_knows = matches!(&self.control, Control::One(all) if all.iter().any(|one| one.value == NULL));
        self.value = match stored {
            Value::Null if nobody_knows => vec![NULL.to_owned()],
            Value::Null => Vec::new(),
            Value::String(text) => vec![text.clone()],
            Value::Array(all) => all.iter().filter_map(|one| one.as_str().map(str::to_owned)).collect(),
            other => vec![other.to_string()],
        };
    }

    /// What it says as JSON; an empty field is left out.
    pub fn json(&self) -> Option<Value> {
        let text = self.text().replace("\r\n", "\n");
        match self.shape {
            Shape::List => Some(self.value.iter().filter(|one| !one.is_empty()).cloned().collect()),
            Shape::Truth if matches!(self.control, Control::Tick) => Some(self.ticked().into()),
            _ if text.is_empty() => None,
            Shape::Text if text == NULL && matches!(self.control, Control::One(_)) => Some(Value::Null),
            Shape::Text => Some(text.into()),
            Shape::Truth => Some(text.parse::<bool>().map_or_else(|_| text.into(), Value::from)),
            Shape::Number => Some(number(&text)),
            // What is no time of a clock stays text, for the schema to refuse.
            Shape::Moment => Some(self.moment_of(&text).unwrap_or(text).into()),
            Shape::Row => Some(Self::parts(&text).collect()),
            // What is no JSON stays text, for the schema to refuse.
            Shape::Json => Some(serde_json::from_str(&text).unwrap_or_else(|_| text.into())),
        }
    }

    /// The moment at which the field's clock shows this. Of the hour that a clock shows twice, the first is meant.
    fn moment_of(&self, text: &str) -> Option<String> {
        let shown: jiff::civil::DateTime = text.parse().ok()?;
        let at = self.zone.as_ref()?.to_ambiguous_timestamp(shown).compatible().ok()?;
        Instant::from_millis(at.as_millisecond()).map(|at| at.to_string())
    }

    /// Why what was pasted cannot be read at all.
    pub fn unreadable(&self) -> Option<FieldFault> {
        let text = self.text();
        if self.shape != Shape::Json || text.is_empty() {
            return None;
        }
        let error = serde_json::from_str::<Value>(text).err()?;
        Some(FieldFault::at(self.name.clone(), "malformed", format!("is not JSON: {error}")))
    }

    /// The figures of a row.
    fn parts(text: &str) -> impl Iterator<Item = &str> {
        text.split(|one: char| one.is_whitespace() || ",;".contains(one)).filter(|part| !part.is_empty())
    }

    /// Whether both say the same.
    pub fn same(&self, other: &Self) -> bool {
        match (self.json(), other.json()) {
            (Some(Value::Array(mut a)), Some(Value::Array(mut b))) if self.shape == Shape::List => {
                a.sort_by_key(Value::to_string);
                b.sort_by_key(Value::to_string);
                a == b
            }
            (a, b) => a == b,
        }
    }

    /// What stands in it, as a person reads it.
    pub fn words(&self) -> String {
        let named = |value: &String| self.choice(value).map_or_else(|| value.clone(), |choice| choice.words.clone());
        let all: Vec<String> = self.value.iter().filter(|value| !value.is_empty()).map(named).collect();
        if all.is_empty() { "nothing".to_owned() } else { all.join(", ") }
    }

    fn choice(&self, value: &str) -> Option<&Choice> {
        match &self.control {
            Control::One(choices) | Control::Many(choices) => choices.iter().find(|choice| choice.value == value),
            _ => None,
        }
    }

    /// Whether something stands under "others".
    pub fn has_aside(&self) -> bool {
        match &self.control {
            Control::Many(choices) => choices.iter().any(|choice| choice.aside && !self.has(&choice.value)),
            _ => false,
        }
    }

    /// What the choice at a pointer such as `/rule_sets/1` is called, or the figure there in a row.
    pub fn chosen_at(&self, pointer: &str) -> Option<String> {
        let at: usize = pointer.strip_prefix(&self.name)?.strip_prefix('/')?.parse().ok()?;
        if self.shape == Shape::Json {
            return Some(format!("number {}", at + 1));
        }
        if self.shape == Shape::Row {
            return Self::parts(self.text()).nth(at).map(|part| format!("number {}, {part},", at + 1));
        }
        self.value.get(at).map(|value| self.choice(value).map_or_else(|| value.clone(), |choice| choice.words.clone()))
    }
}

/// A number as JSON has it; anything else stays text for the schema to refuse.
fn number(text: &str) -> Value {
    if let Ok(whole) = text.parse::<i64>() {
        return whole.into();
    }
    let finite = text.parse::<f64>().ok().filter(|number| number.is_finite());
    finite.map_or_else(|| text.into(), Value::from)
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn text_becomes_the_json_that_the_api_takes() {
        let said = |mut field: Field, text: &str| {
            field.value = vec![text.to_owned()];
            field.json()
        };
        assert_eq!(said(Field::line("/name", "Name"), "  Client 1 "), Some(json!("Client 1")));
        assert_eq!(said(Field::line("/name", "Name"), "   "), None);
        assert_eq!(
            said(Field::lines("/address", "Address"), "1 Street A\r\nSampletown"),
            Some(json!("1 Street A\nSampletown"))
        );
        assert_eq!(said(Field::amount("/lb", "lb"), "25.60"), Some(json!("25.60")));
        let there = domain::time::zone("America/New_York").ok();
        let clock = |text| there.clone().and_then(|zone| said(Field::moment("/at", "When", zone), text));
        // Eastern daylight time is four hours behind universal time until the first Sunday of November at two (15 U.S.C. 260a).
        assert_eq!(clock("2026-09-15T18:05"), Some(json!("2026-09-15T22:05:00.000Z")));
        assert_eq!(clock("2026-11-01T01:30"), Some(json!("2026-11-01T05:30:00.000Z")));
        assert_eq!(clock("soon"), Some(json!("soon")));
        assert_eq!(said(Field::number("/latitude", "Latitude"), "38.97"), Some(json!(38.97)));
        assert_eq!(said(Field::number("/latitude", "Latitude"), "north"), Some(json!("north")));
        assert_eq!(said(Field::yes_or_no("/active", "Active"), ""), None);
        assert_eq!(said(Field::yes_or_no("/active", "Active"), "false"), Some(json!(false)));
        assert_eq!(Field::tick("/organic", "Organic").json(), Some(json!(false)));
        assert_eq!(said(Field::row_of("/catches", "Pans"), " 1, 2.5\n3;"), Some(json!(["1", "2.5", "3"])));
        assert_eq!(said(Field::pasted("/outline", "Outline"), "{\"type\": 1}"), Some(json!({ "type": 1 })));
        assert_eq!(said(Field::pasted("/outline", "Outline"), "{type"), Some(json!("{type")));
        assert_eq!(Field::many("/rule_sets", "Rule sets", Vec::new()).json(), Some(json!([])));
    }
}
