//! The JSON Schema of rule files takes what the reader takes, and refuses what it refuses.

use domain::law::{EMBEDDED, rule_file_schema};
use serde_json::Value;

/// A file as the tools that check TOML against a schema hand it on: a day is text.
fn json(value: &toml::Value) -> Value {
    match value {
        toml::Value::Datetime(day) => Value::String(day.to_string()),
        toml::Value::Array(items) => Value::Array(items.iter().map(json).collect()),
        toml::Value::Table(table) => {
            Value::Object(table.iter().map(|(key, value)| (key.clone(), json(value))).collect())
        }
        other => serde_json::to_value(other).expect("a plain value"),
    }
}

fn file(text: &str) -> Value {
    json(&toml::Value::Table(text.parse().expect("TOML")))
}

fn validator() -> jsonschema::Validator {
    jsonschema::validator_for(&rule_file_schema()).expect("a schema")
}

#[test]
fn every_built_in_file_fits_the_schema() {
    let validator = validator();
    for (name, text) in EMBEDDED {
        if let Err(fault) = validator.validate(&file(text)) {
            panic!("{name}: {fault} at {}", fault.instance_path());
        }
    }
}

#[test]
fn the_schema_refuses_what_the_reader_refuses() {
    let validator = validator();
    let (_, text) = EMBEDDED.iter().find(|(name, _)| *name == "us-fl-alachua.toml").expect("a county");
    assert!(validator.is_valid(&file(text)));
    for (from, to) in [
        ("kind = \"slow_share\"", "kind = \"slow_part\""),
        ("unit = \"%\"", "unit = \"ft\""),
        ("comparator = \"at_least\"", "comparator = \"at_most\""),
        ("value = \"50\"", "value = 50"),
        ("last_barred = \"02-29\"\n", ""),
        ("binds = \"applicator\"", "binds = \"anybody\""),
        ("mark = \"read_2\"", "mark = \"heard\""),
        ("days = 30", "days = 0"),
        ("days = 30", "days = 30\nshade = true"),
        ("parent = \"us-fl\"", "parents = \"us-fl\""),
        ("level = \"county\"", "level = \"shire\""),
        ("soil_report = \"recommendation\"", "soil_report = \"guess\""),
    ] {
        assert!(text.contains(from), "{from}");
        assert!(!validator.is_valid(&file(&text.replace(from, to))), "{to} fits the schema");
    }
}
