//! One field of a form: what it is called, how it is typed, and what JSON it becomes.

use serde_json::Value;

/// One thing to choose.
#[derive(Debug, Clone)]
pub struct Choice {
    pub value: String,
    pub words: String,
    /// Stands under "others", because it is seldom meant.
    pub aside: bool,
}

impl Choice {
    pub fn new(value: impl Into<String>, words: impl Into<String>) -> Self {
        Self { value: value.into(), words: words.into(), aside: false }
    }
}

/// Choices from pairs of the API's word and plain words.
pub fn choices(pairs: &[(&str, &str)]) -> Vec<Choice> {
    pairs.iter().map(|(value, words)| Choice::new(*value, *words)).collect()
}

/// How a field is typed.
#[derive(Debug, Clone)]
pub enum Control {
    /// One line: the kind of input, and the keys a phone shows.
    Line(&'static str, &'static str),
    /// Several lines.
    Lines,
    /// One of a list; nothing is chosen beforehand.
    One(Vec<Choice>),
    /// Any number of a list.
    Many(Vec<Choice>),
    /// A box to tick.
    Tick,
    /// Carried along.
    Hidden,
}

/// What JSON the text becomes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Shape {
    Text,
    Number,
    Truth,
    List,
}

/// One field, with what stands in it.
#[derive(Debug, Clone)]
pub struct Field {
    /// Where it belongs in the request, as a JSON pointer; any other name is not sent to the API.
    pub name: String,
    pub label: String,
    pub help: String,
    pub control: Control,
    pub optional: bool,
    /// The heading that begins with this field.
    pub heading: Option<&'static str>,
    pub value: Vec<String>,
    pub faults: Vec<String>,
    /// What the book has, where somebody else changed it meanwhile.
    pub other: Option<String>,
    shape: Shape,
}

impl Field {
    fn of(name: &str, label: &str, control: Control, shape: Shape) -> Self {
        Self {
            name: name.to_owned(),
            label: label.to_owned(),
            help: String::new(),
            control,
            optional: false,
            heading: None,
            value: Vec::new(),
            faults: Vec::new(),
            other: None,
            shape,
        }
    }

    pub fn line(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Line("text", "text"), Shape::Text)
    }

    pub fn lines(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Lines, Shape::Text)
    }

    pub fn telephone(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Line("tel", "tel"), Shape::Text)
    }

    pub fn password(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Line("password", "text"), Shape::Text)
    }

    pub fn day(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Line("date", "text"), Shape::Text)
    }

    /// An amount: decimal text, so that no digit is lost.
    pub fn amount(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Line("text", "decimal"), Shape::Text)
    }

    pub fn number(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Line("text", "decimal"), Shape::Number)
    }

    pub fn one(name: &str, label: &str, choices: Vec<Choice>) -> Self {
        Self::of(name, label, Control::One(choices), Shape::Text)
    }

    /// Yes or no, and neither beforehand.
    pub fn yes_or_no(name: &str, label: &str) -> Self {
        let answers = choices(&[("true", "yes"), ("false", "no")]);
        Self::of(name, label, Control::One(answers), Shape::Truth)
    }

    pub fn many(name: &str, label: &str, choices: Vec<Choice>) -> Self {
        Self::of(name, label, Control::Many(choices), Shape::List)
    }

    pub fn tick(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Tick, Shape::Truth)
    }

    pub fn hidden(name: &str, value: impl Into<String>) -> Self {
        let mut field = Self::of(name, name, Control::Hidden, Shape::Text);
        field.value = vec![value.into()];
        field
    }

    #[must_use]
    pub fn help(mut self, words: impl Into<String>) -> Self {
        self.help = words.into();
        self
    }

    #[must_use]
    pub fn optional(mut self) -> Self {
        self.optional = true;
        self
    }

    #[must_use]
    pub fn under(mut self, heading: &'static str) -> Self {
        self.heading = Some(heading);
        self
    }

    pub fn is_hidden(&self) -> bool {
        matches!(self.control, Control::Hidden)
    }

    /// What stands in it, trimmed; nothing for an empty field.
    pub fn text(&self) -> &str {
        self.value.first().map_or("", |text| text.trim())
    }

    pub fn has(&self, value: &str) -> bool {
        self.value.iter().any(|one| one == value)
    }

    pub fn ticked(&self) -> bool {
        self.text() == "true"
    }

    /// An element id: pointers hold slashes.
    pub fn id(&self) -> String {
        format!("f{}", self.name.replace(['/', ' '], "-"))
    }

    pub fn described(&self) -> bool {
        !self.described_by().is_empty()
    }

    /// Elements that say more about it, for readers of the screen.
    pub fn described_by(&self) -> String {
        let id = self.id();
        let parts = [(!self.help.is_empty(), "help"), (!self.faults.is_empty(), "fault"), (self.other.is_some(), "other")];
        parts.iter().filter(|(there, _)| *there).map(|(_, part)| format!("{id}-{part}")).collect::<Vec<_>>().join(" ")
    }

    /// Takes what a stored thing has.
    pub fn fill(&mut self, stored: &Value) {
        self.value = match stored {
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
            Shape::Text => Some(text.into()),
            Shape::Truth => Some(text.parse::<bool>().map_or_else(|_| text.into(), Value::from)),
            Shape::Number => Some(number(&text)),
        }
    }

    /// Whether both say the same.
    pub fn same(&self, other: &Self) -> bool {
        match (self.json(), other.json()) {
            (Some(Value::Array(mut a)), Some(Value::Array(mut b))) => {
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

    /// What the choice at a pointer such as `/rule_sets/1` is called.
    pub fn chosen_at(&self, pointer: &str) -> Option<String> {
        let at: usize = pointer.strip_prefix(&self.name)?.strip_prefix('/')?.parse().ok()?;
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
        assert_eq!(said(Field::lines("/address", "Address"), "1 Street A\r\nSampletown"), Some(json!("1 Street A\nSampletown")));
        assert_eq!(said(Field::amount("/lb", "lb"), "25.60"), Some(json!("25.60")));
        assert_eq!(said(Field::number("/latitude", "Latitude"), "38.97"), Some(json!(38.97)));
        assert_eq!(said(Field::number("/latitude", "Latitude"), "north"), Some(json!("north")));
        assert_eq!(said(Field::yes_or_no("/active", "Active"), ""), None);
        assert_eq!(said(Field::yes_or_no("/active", "Active"), "false"), Some(json!(false)));
        assert_eq!(Field::tick("/organic", "Organic").json(), Some(json!(false)));
        assert_eq!(Field::many("/rule_sets", "Rule sets", Vec::new()).json(), Some(json!([])));
    }
}
