//! The JSON Schema of a rule file, for editors that check a file while it is written. The words of closed lists are taken
//! from the types that read them; the fields of each kind stand in one table, which a test holds against the reader.

use serde::de::DeserializeOwned;
use serde_json::{Map, Value, json};

use super::{
    about::{AppliesTo, Level, LocalRules},
    comparator::Comparator,
    kind::{BoundParty, RuleKind},
    mark::Mark,
    names::names,
    schema_fields::{self, Field, Shape},
};
use crate::{application::Audience, land::PropertyKind};

/// Describes a rule file.
pub fn rule_file_schema() -> Value {
    let mut set = object(&schema_fields::SET);
    if let Some(properties) = set.get_mut("properties").and_then(Value::as_object_mut) {
        properties.insert("level".to_owned(), words::<Level>());
        properties.insert("local_rules".to_owned(), words::<LocalRules>());
        properties.insert("preempts_local".to_owned(), preemption());
        properties.insert("stands_by".to_owned(), object(&schema_fields::AUTHORIZATION));
        properties.insert("hole".to_owned(), list(&object(&schema_fields::COVERAGE_GAP)));
        let kinds: Vec<Value> = RuleKind::ALL.into_iter().map(rule).collect();
        properties.insert("rule".to_owned(), list(&json!({ "oneOf": kinds })));
    }
    let about = [
        ("$schema", json!("https://json-schema.org/draft/2020-12/schema")),
        ("title", json!("Rule file")),
        ("description", json!("The dated, cited rules of one place, or of the company itself.")),
    ];
    let about = about.into_iter().map(|(key, value)| (key.to_owned(), value));
    Value::Object(about.chain(set.as_object().cloned().unwrap_or_default()).collect())
}

fn preemption() -> Value {
    let mut object = object(&schema_fields::PREEMPTION);
    if let Some(properties) = object.get_mut("properties").and_then(Value::as_object_mut) {
        properties.insert("reach".to_owned(), words::<AppliesTo>());
        properties.insert("older_reach".to_owned(), words::<AppliesTo>());
    }
    object
}

/// A rule of one kind: the fields of its head, and those of its values, of which one may be a repeal.
fn rule(kind: RuleKind) -> Value {
    let mut properties = Map::new();
    let mut required = vec!["id", "kind", "binds", "audience", "value"];
    properties.insert("id".to_owned(), text(100));
    properties.insert("kind".to_owned(), json!({ "const": kind }));
    properties.insert("binds".to_owned(), words::<BoundParty>());
    properties.insert("audience".to_owned(), several(&words::<Audience>()));
    properties.insert("advice".to_owned(), json!({ "type": "boolean" }));
    properties.insert("unless_credential".to_owned(), text(60));
    properties.insert("only_kinds".to_owned(), several(&words::<PropertyKind>()));
    properties.insert("when".to_owned(), object(&schema_fields::SCOPE));
    if let Some(unit) = kind.unit() {
        properties.insert("unit".to_owned(), json!({ "const": unit }));
        required.push("unit");
    }
    if kind.has_nutrient() {
        properties.insert("nutrient".to_owned(), words::<super::nutrient::Nutrient>());
        required.push("nutrient");
    }
    if kind.has_nutrients() {
        properties.insert("nutrients".to_owned(), several(&words::<super::nutrient::Nutrient>()));
    }
    properties.insert("value".to_owned(), list(&json!({ "oneOf": [value(kind), repeal()] })));
    json!({ "type": "object", "properties": properties, "required": required, "additionalProperties": false })
}

fn value(kind: RuleKind) -> Value {
    let fields: Vec<Field> = schema_fields::SOURCE.iter().chain(schema_fields::of_kind(kind)).copied().collect();
    object(&fields)
}

fn repeal() -> Value {
    let mut object = object(&schema_fields::SOURCE);
    if let Some(properties) = object.get_mut("properties").and_then(Value::as_object_mut) {
        properties.insert("repealed".to_owned(), json!({ "const": true }));
    }
    if let Some(required) = object.get_mut("required").and_then(Value::as_array_mut) {
        required.push(json!("repealed"));
    }
    object
}

fn object(fields: &[Field]) -> Value {
    let properties: Map<String, Value> =
        fields.iter().map(|field| (field.name.to_owned(), shape(field.shape))).collect();
    let required: Vec<&str> = fields.iter().filter(|field| field.required).map(|field| field.name).collect();
    json!({ "type": "object", "properties": properties, "required": required, "additionalProperties": false })
}

fn shape(shape: Shape) -> Value {
    match shape {
        Shape::Text(longest) => text(longest),
        Shape::Link(longest) => {
            json!({ "type": "string", "maxLength": longest, "pattern": "^https?://[A-Za-z0-9.-]+(:[0-9]+)?([/?#]|$)" })
        }
        Shape::Flag => json!({ "type": "boolean" }),
        Shape::Count => json!({ "type": "integer", "minimum": 1, "maximum": 65_535 }),
        // TOML has days of its own; the tools that check TOML against a schema hand them on as text.
        Shape::Day => json!({ "type": "string", "format": "date" }),
        Shape::MonthDay => json!({ "type": "string", "pattern": "^(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$" }),
        Shape::Decimal => json!({ "type": "string", "pattern": "^(0|[1-9][0-9]*)(\\.[0-9]+)?$" }),
        Shape::Mark => words::<Mark>(),
        Shape::Cap => json!({ "enum": [word(Comparator::AtMost), word(Comparator::LessThan)] }),
        Shape::Floor => json!({ "enum": [word(Comparator::AtLeast), word(Comparator::MoreThan)] }),
        Shape::Word(names) => json!({ "enum": names() }),
        Shape::Words(names) => several(&json!({ "enum": names() })),
        Shape::Names => several(&text(100)),
        Shape::Texts => json!({ "type": "array", "items": text(60) }),
        Shape::Object(fields) => object(fields),
        Shape::Objects(fields) => list(&object(fields)),
        Shape::Amounts(names) => json!({
            "type": "object",
            "propertyNames": { "enum": names() },
            "additionalProperties": self::shape(Shape::Decimal),
            "minProperties": 1
        }),
    }
}

const fn word(comparator: Comparator) -> &'static str {
    match comparator {
        Comparator::AtMost => "at_most",
        Comparator::LessThan => "less_than",
        Comparator::AtLeast => "at_least",
        Comparator::MoreThan => "more_than",
    }
}

fn text(longest: usize) -> Value {
    json!({ "type": "string", "minLength": 1, "maxLength": longest })
}

fn several(items: &Value) -> Value {
    json!({ "type": "array", "items": items, "minItems": 1 })
}

fn list(items: &Value) -> Value {
    json!({ "type": "array", "items": items })
}

fn words<T: DeserializeOwned>() -> Value {
    json!({ "enum": names::<T>() })
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::law::{convert, fields::Fields};

    /// The fields that the reader asks for in a value of a kind.
    fn asked(kind: RuleKind) -> BTreeSet<&'static str> {
        let empty = toml::Table::new();
        let mut fields = Fields::new(&empty, "", None);
        let nothing = convert::duty(kind, &convert::Head::default(), &mut fields);
        assert!(nothing.is_none() || kind == RuleKind::Surface, "{kind:?} is read from nothing");
        fields.asked().iter().copied().collect()
    }

    #[test]
    fn the_schema_names_the_fields_that_the_reader_asks_for() {
        for kind in RuleKind::ALL {
            let described: BTreeSet<&str> = schema_fields::of_kind(kind).iter().map(|field| field.name).collect();
            assert_eq!(described, asked(kind), "{kind:?}");
        }
    }

    #[test]
    fn the_schema_asks_for_what_the_reader_misses() {
        for kind in RuleKind::ALL {
            let empty = toml::Table::new();
            let mut fields = Fields::new(&empty, "", None);
            let _ = convert::duty(kind, &convert::Head::default(), &mut fields);
            let missed: BTreeSet<String> = fields.faults.iter().map(|fault| fault.field.clone()).collect();
            let required = schema_fields::of_kind(kind).iter().filter(|field| field.required);
            let wanted: BTreeSet<String> = required.map(|field| field.name.to_owned()).collect();
            // Where one of several fields will do, the reader names the first and the schema leaves the choice open.
            let choice: BTreeSet<String> = schema_fields::choices(kind).iter().map(|name| (*name).to_owned()).collect();
            assert_eq!(missed.difference(&choice).cloned().collect::<BTreeSet<_>>(), wanted, "{kind:?}");
        }
    }

    #[test]
    fn closed_lists_are_those_of_the_types() {
        assert_eq!(names::<BoundParty>(), ["applicator", "label", "seller"]);
        assert_eq!(names::<RuleKind>().len(), RuleKind::ALL.len());
        let kinds: BTreeSet<String> = RuleKind::ALL.iter().map(|kind| format!("{kind:?}")).collect();
        assert_eq!(kinds.len(), RuleKind::ALL.len(), "a kind is listed twice");
    }

    #[test]
    fn the_schema_has_a_shape_for_every_kind() {
        let schema = rule_file_schema();
        let kinds = schema.pointer("/properties/rule/items/oneOf").and_then(Value::as_array).map(Vec::len);
        assert_eq!(kinds, Some(RuleKind::ALL.len()));
        assert_eq!(schema.pointer("/additionalProperties"), Some(&json!(false)));
    }
}
