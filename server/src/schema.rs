//! What the API document says about a value is what is asked of it: bodies and queries are checked against the document's
//! own schemas, so that every fault is found at once and the document cannot promise what the server refuses.

use std::{
    collections::HashMap,
    sync::{Arc, RwLock},
};

use jsonschema::{ValidationError, Validator, error::ValidationErrorKind};
use serde_json::{Value, json};
use utoipa::ToSchema;

use crate::problem::FieldFault;

/// The schemas of the API document, each compiled when first asked for.
#[derive(Debug, Default)]
pub struct Schemas {
    compiled: RwLock<HashMap<String, Arc<Compiled>>>,
}

#[derive(Debug)]
struct Compiled {
    validator: Validator,
    /// The schema with everything it refers to.
    root: Value,
}

impl Schemas {
    /// Every fault of a value under the schema of `T`. A schema that cannot be compiled is a fault of ours.
    pub fn faults<T: ToSchema>(&self, value: &Value) -> Result<Vec<FieldFault>, String> {
        let compiled = self.compiled::<T>()?;
        let mut faults = Vec::new();
        for error in compiled.validator.iter_errors(value) {
            compiled.describe(&error, &mut faults);
        }
        faults.sort_by(|a, b| a.pointer.cmp(&b.pointer));
        // A text of the wrong length need not be told that its shape is wrong too.
        let lengths: Vec<_> =
            faults.iter().filter(|fault| fault.code == "wrong_length").map(|fault| fault.pointer.clone()).collect();
        faults.retain(|fault| fault.code != "wrong_format" || !lengths.contains(&fault.pointer));
        faults.dedup_by(|a, b| a.pointer == b.pointer && a.detail == b.detail);
        Ok(faults)
    }

    /// The declared type of a property of `T`, to read a query parameter by.
    pub fn property_type<T: ToSchema>(&self, property: &str) -> Option<&'static str> {
        let compiled = self.compiled::<T>().ok()?;
        let schema = compiled.root.pointer(&format!("/components/schemas/{}/properties/{property}", T::name()))?;
        let named = |name: &str| match schema.get("type") {
            Some(Value::String(one)) => one == name,
            Some(Value::Array(many)) => many.iter().any(|one| one == name),
            _ => false,
        };
        Some(if named("integer") {
            "integer"
        } else if named("number") {
            "number"
        } else if named("boolean") {
            "boolean"
        } else {
            "string"
        })
    }

    fn compiled<T: ToSchema>(&self) -> Result<Arc<Compiled>, String> {
        let name = T::name();
        if let Ok(known) = self.compiled.read()
            && let Some(compiled) = known.get(name.as_ref())
        {
            return Ok(Arc::clone(compiled));
        }
        let mut parts = Vec::new();
        T::schemas(&mut parts);
        parts.push((name.to_string(), T::schema()));
        let schemas: HashMap<_, _> = parts.into_iter().collect();
        let root = json!({ "$ref": format!("#/components/schemas/{name}"), "components": { "schemas": schemas } });
        let validator = jsonschema::options()
            .with_draft(jsonschema::Draft::Draft202012)
            .with_format("iana-time-zone", is_zone)
            .should_validate_formats(true)
            .build(&root)
            .map_err(|error| format!("schema {name}: {error}"))?;
        let compiled = Arc::new(Compiled { validator, root });
        if let Ok(mut known) = self.compiled.write() {
            known.insert(name.to_string(), Arc::clone(&compiled));
        }
        Ok(compiled)
    }
}

impl Compiled {
    /// One fault in words a person can act on. A choice between "nothing" and a type is told as a fault of the type.
    fn describe(&self, error: &ValidationError<'_>, faults: &mut Vec<FieldFault>) {
        let at = error.instance_path().as_str().to_owned();
        let mut push = |pointer: String, code: &str, detail: String| faults.push(FieldFault::at(pointer, code, detail));
        match error.kind() {
            ValidationErrorKind::OneOfNotValid { context } | ValidationErrorKind::AnyOf { context } => {
                let shapes: Vec<_> = context.iter().filter(|branch| !branch.iter().any(wants_null)).collect();
                let tags: Vec<_> =
                    shapes.iter().filter_map(|branch| branch.iter().find(|fault| other_tag(fault))).collect();
                // Of several shapes the one that is meant fits its tag and most of the rest.
                let told = shapes.iter().copied().min_by_key(|branch| (branch.iter().any(other_tag), branch.len()));
                match told {
                    Some(_) if shapes.len() > 1 && tags.len() == shapes.len() => {
                        let words: Vec<String> = tags.iter().map(|tag| one_word(tag)).collect();
                        let pointer = tags.first().map_or(at, |tag| tag.instance_path().as_str().to_owned());
                        push(pointer, "unknown_value", format!("must be one of: {}", words.join(", ")));
                    }
                    Some(branch) if !error.instance().is_null() => {
                        for inner in branch {
                            self.describe(inner, faults);
                        }
                    }
                    _ => push(at, "invalid", "does not have a shape that is known here".to_owned()),
                }
            }
            ValidationErrorKind::Required { property } => {
                let name = property.as_str().unwrap_or_default();
                push(format!("{at}/{}", escape(name)), "missing", "is required".to_owned());
            }
            ValidationErrorKind::AdditionalProperties { unexpected } => {
                for name in unexpected {
                    push(
                        format!("{at}/{}", escape(name)),
                        "unknown_field",
                        "is not a field of this document; check its spelling".to_owned(),
                    );
                }
            }
            kind => push(at, code_of(kind), self.words(error)),
        }
    }

    /// What is wrong with one value.
    fn words(&self, error: &ValidationError<'_>) -> String {
        let about = self.schema_behind(error.evaluation_path().as_str());
        let example = about
            .and_then(|s| s.get("examples"))
            .and_then(|e| e.get(0))
            .or_else(|| about.and_then(|s| s.get("example")));
        let example = example.map(|value| format!(", such as {value}")).unwrap_or_default();
        match error.kind() {
            ValidationErrorKind::Pattern { .. } | ValidationErrorKind::Format { .. } => {
                let sentence = about
                    .and_then(|s| s.get("description"))
                    .and_then(Value::as_str)
                    .unwrap_or("Begin with a visible character, and leave control characters out.");
                format!("is not written as it must be{example}. {sentence}")
            }
            ValidationErrorKind::Type { .. } => {
                let wanted = about.and_then(|s| s.get("type")).map(type_words).unwrap_or_default();
                let hint = if wanted == "text" && error.instance().is_number() {
                    "; write the number as text, so that no digit is lost"
                } else {
                    ""
                };
                format!("must be {wanted}{example}{hint}")
            }
            ValidationErrorKind::Enum { options } => format!("must be one of: {}", words_of(options)),
            ValidationErrorKind::MaxLength { limit } => format!("must have at most {}", counted(*limit, "character")),
            ValidationErrorKind::MinLength { limit } => format!("must have at least {}", counted(*limit, "character")),
            ValidationErrorKind::Maximum { limit } => format!("must be at most {limit}"),
            ValidationErrorKind::Minimum { limit } => format!("must be at least {limit}"),
            ValidationErrorKind::MaxItems { limit } => format!("must have at most {}", counted(*limit, "entry")),
            ValidationErrorKind::MinItems { limit } => format!("must have at least {}", counted(*limit, "entry")),
            ValidationErrorKind::UniqueItems => "must not name the same thing twice".to_owned(),
            _ => "does not fit".to_owned(),
        }
    }

    /// The schema object that holds the keyword at a path of the validator, through references.
    fn schema_behind(&self, keyword_path: &str) -> Option<&Value> {
        let mut segments: Vec<&str> = keyword_path.split('/').skip(1).collect();
        segments.pop();
        let mut here: Option<&Value> = None;
        for segment in segments {
            here = match (here, segment) {
                (None, "$ref") => self.root.pointer(self.root.get("$ref")?.as_str()?.strip_prefix('#')?),
                (None, _) => return None,
                (Some(schema), "$ref") => self.root.pointer(schema.get("$ref")?.as_str()?.strip_prefix('#')?),
                (Some(schema), key) => schema.get(key).or_else(|| schema.get(key.parse::<usize>().ok()?)),
            };
            if segment != "$ref" && here.is_none() {
                return None;
            }
        }
        here
    }
}

/// Only the zone's own spelling: the reader of zones takes any case, and phones may not.
fn is_zone(name: &str) -> bool {
    let known = domain::time::zone(name).ok();
    known.is_some_and(|zone| zone.iana_name() == Some(name) && !zone.is_unknown())
}

/// A fault of the member that says which of several shapes is meant: an enumeration of one word.
fn other_tag(error: &ValidationError<'_>) -> bool {
    matches!(error.kind(), ValidationErrorKind::Enum { options } if options.as_array().is_some_and(|words| words.len() == 1))
}

/// The one word of such an enumeration.
fn one_word(error: &ValidationError<'_>) -> String {
    match error.kind() {
        ValidationErrorKind::Enum { options } => words_of(options),
        _ => String::new(),
    }
}

fn wants_null(error: &ValidationError<'_>) -> bool {
    matches!(error.kind(), ValidationErrorKind::Type { kind } if format!("{kind:?}").contains("Null"))
}

/// The words of an enumeration, as a person reads them.
fn words_of(options: &Value) -> String {
    let options = options.as_array().map(Vec::as_slice).unwrap_or_default();
    let word = |option: &Value| option.as_str().map_or_else(|| option.to_string(), str::to_owned);
    options.iter().filter(|option| !option.is_null()).map(word).collect::<Vec<_>>().join(", ")
}

fn counted(count: u64, what: &str) -> String {
    match (count, what.strip_suffix('y')) {
        (1, _) => format!("1 {what}"),
        (_, Some(stem)) => format!("{count} {stem}ies"),
        _ => format!("{count} {what}s"),
    }
}

fn type_words(kind: &Value) -> &'static str {
    match kind.as_str().or_else(|| kind.get(0).and_then(Value::as_str)) {
        Some("string") => "text",
        Some("integer") => "a whole number",
        Some("number") => "a number",
        Some("boolean") => "true or false",
        Some("array") => "a list",
        _ => "an object",
    }
}

fn code_of(kind: &ValidationErrorKind) -> &'static str {
    match kind {
        ValidationErrorKind::Type { .. } => "wrong_type",
        ValidationErrorKind::Enum { .. } => "unknown_value",
        ValidationErrorKind::Pattern { .. } | ValidationErrorKind::Format { .. } => "wrong_format",
        ValidationErrorKind::MaxLength { .. } | ValidationErrorKind::MinLength { .. } => "wrong_length",
        ValidationErrorKind::Maximum { .. } | ValidationErrorKind::Minimum { .. } => "out_of_range",
        ValidationErrorKind::MaxItems { .. } | ValidationErrorKind::MinItems { .. } => "wrong_count",
        _ => "invalid",
    }
}

fn escape(name: &str) -> String {
    name.replace('~', "~0").replace('/', "~1")
}
