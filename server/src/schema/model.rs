//! A schema as it is read from the API document: the part of JSON Schema (draft 2020-12) that is used there for requests, and
//! nothing else. A keyword that is not listed here is an error, so that none stands in the document unchecked.

use std::collections::BTreeMap;

use regex::Regex;
use serde::{Deserialize, Deserializer, de};
use serde_json::{Number, Value};

#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase", deny_unknown_fields, default)]
pub struct Schema {
    #[serde(rename = "$ref")]
    pub(super) reference: Option<String>,
    #[serde(rename = "type", deserialize_with = "one_or_more")]
    pub(super) types: Vec<Type>,
    #[serde(rename = "enum")]
    pub(super) words: Vec<Value>,
    pub(super) format: Option<Format>,
    #[serde(deserialize_with = "pattern")]
    pub(super) pattern: Option<Regex>,
    pub(super) min_length: Option<u64>,
    pub(super) max_length: Option<u64>,
    pub(super) minimum: Option<Number>,
    pub(super) maximum: Option<Number>,
    pub(super) items: Option<Box<Schema>>,
    pub(super) min_items: Option<u64>,
    pub(super) max_items: Option<u64>,
    pub(super) properties: BTreeMap<String, Schema>,
    pub(super) required: Vec<String>,
    #[serde(rename = "additionalProperties")]
    pub(super) others: Others,
    pub(super) max_properties: Option<u64>,
    pub(super) one_of: Vec<Schema>,
    pub(super) description: Option<String>,
    pub(super) example: Option<Value>,
    pub(super) examples: Vec<Value>,
    /// What is meant where nothing stands: it asks nothing.
    #[serde(rename = "default")]
    _default: de::IgnoredAny,
}

impl Schema {
    /// The schema of an object's member.
    pub fn member(&self, name: &str) -> Option<&Self> {
        self.properties.get(name)
    }

    /// The value that a text in an address means. A text that is no number stays one, for the schema to refuse; so do
    /// NaN and infinity, which JSON does not have.
    pub fn from_text(&self, text: &str) -> Value {
        let finite = |number: &f64| number.is_finite();
        let value = self.types.iter().find_map(|kind| match kind {
            Type::Integer => text.parse::<i64>().ok().map(Value::from),
            Type::Number => text.parse::<f64>().ok().filter(finite).map(Value::from),
            Type::Boolean => text.parse::<bool>().ok().map(Value::from),
            _ => None,
        });
        value.unwrap_or_else(|| text.into())
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) enum Type {
    Null,
    Boolean,
    Integer,
    Number,
    String,
    Array,
    Object,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Format {
    Uuid,
    Date,
    DateTime,
    IanaTimeZone,
    /// These say how large a number may get, and are told by whoever reads the value.
    Int32,
    Int64,
    Double,
    /// The bytes of a file, which are not JSON.
    Binary,
}

impl Type {
    pub(super) fn is_of(self, value: &Value) -> bool {
        match self {
            Self::Null => value.is_null(),
            Self::Boolean => value.is_boolean(),
            Self::Integer => {
                value.is_i64() || value.is_u64() || value.as_f64().is_some_and(|number| number.fract() == 0.0)
            }
            Self::Number => value.is_number(),
            Self::String => value.is_string(),
            Self::Array => value.is_array(),
            Self::Object => value.is_object(),
        }
    }
}

fn one_or_more<'de, D: Deserializer<'de>>(reader: D) -> Result<Vec<Type>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged)]
    enum Types {
        One(Type),
        More(Vec<Type>),
    }
    Types::deserialize(reader).map(|types| match types {
        Types::One(one) => vec![one],
        Types::More(more) => more,
    })
}

fn pattern<'de, D: Deserializer<'de>>(reader: D) -> Result<Option<Regex>, D::Error> {
    let text = String::deserialize(reader)?;
    Regex::new(&text).map(Some).map_err(de::Error::custom)
}

/// Members that are not listed: whether there may be any, and which.
#[derive(Debug, Deserialize)]
#[serde(untagged)]
pub(super) enum Others {
    Any(bool),
    Like(Box<Schema>),
}

impl Default for Others {
    fn default() -> Self {
        Self::Any(true)
    }
}
