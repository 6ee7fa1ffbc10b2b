//! Holds real answers against the API document: the status must be listed, the media type too, and the body must fit.

use std::{
    collections::HashMap,
    sync::{Arc, Mutex, OnceLock},
};

use jsonschema::Validator;
use reqwest::header::HeaderMap;
use serde_json::{Value, json};

/// The API document.
pub fn document() -> &'static Value {
    static DOCUMENT: OnceLock<Value> = OnceLock::new();
    DOCUMENT.get_or_init(|| serde_json::to_value(server::describe::document()).expect("a document"))
}

/// Fails if an answer is not one that the document promises. Addresses outside the API are not in it.
#[track_caller]
pub fn check(method: &str, path: &str, status: u16, headers: &HeaderMap, text: &str) {
    every_problem_is_a_document(method, path, status, headers, text);
    let path = path.split('?').next().unwrap_or_default();
    let Some((template, item)) = operation(path) else { return };
    let Some(operation) = item.get(method.to_lowercase()) else { return };
    let Some(response) = operation["responses"].get(status.to_string()) else {
        panic!("{method} {template} answered {status}, which the API document does not list: {text}");
    };
    let response = resolve(response);
    let Some(content) = response.get("content").and_then(Value::as_object) else {
        assert!(text.is_empty(), "{method} {template} {status}: the document promises no body, there is one: {text}");
        return;
    };
    let media = headers.get("content-type").and_then(|v| v.to_str().ok()).unwrap_or_default();
    let media = media.split(';').next().unwrap_or_default();
    let Some(promised) = content.get(media) else { panic!("{method} {template} {status}: {media} is not promised") };
    if !media.ends_with("json") {
        return;
    }
    let value: Value =
        serde_json::from_str(text).unwrap_or_else(|error| panic!("{method} {template} {status}: {error}: {text}"));
    let faults = faults(&promised["schema"], &value);
    assert!(faults.is_empty(), "{method} {template} {status} does not fit the API document: {faults:#?}\n{text}");
}

/// Whatever the address: an error is a problem document, says its own status, and tells nothing of the inside.
#[track_caller]
fn every_problem_is_a_document(method: &str, path: &str, status: u16, headers: &HeaderMap, text: &str) {
    if status < 400 {
        return;
    }
    let media = headers.get("content-type").and_then(|v| v.to_str().ok()).unwrap_or_default();
    assert_eq!(media, "application/problem+json", "{method} {path} answered {status} with {text}");
    let problem: Value =
        serde_json::from_str(text).unwrap_or_else(|error| panic!("{method} {path} {status}: {error}: {text}"));
    assert_eq!(problem["status"], status, "{text}");
    for inside in ["src/", "SELECT", "INSERT", "sqlx", "panicked", "serde", "axum", ".rs"] {
        assert!(!text.contains(inside), "{method} {path} {status} tells {inside:?}: {text}");
    }
}

/// The id of the operation that a request meets.
pub fn operation_id(method: &str, path: &str) -> Option<&'static str> {
    let path = path.split('?').next().unwrap_or_default();
    operation(path)?.1.get(method.to_lowercase())?["operationId"].as_str()
}

fn operation(path: &str) -> Option<(&'static str, &'static Value)> {
    let paths = document()["paths"].as_object()?;
    let fits = |template: &str| {
        let (mut asked, mut known) = (path.split('/'), template.split('/'));
        loop {
            match (asked.next(), known.next()) {
                (None, None) => return true,
                (Some(a), Some(k)) if a == k || (k.starts_with('{') && !a.is_empty()) => {}
                _ => return false,
            }
        }
    };
    // An address without a variable part goes before one with.
    let mut fitting: Vec<_> = paths.iter().filter(|(template, _)| fits(template)).collect();
    fitting.sort_by_key(|(template, _)| template.matches('{').count());
    fitting.first().map(|(template, item)| (template.as_str(), *item))
}

/// What a reference stands for.
pub fn resolve(value: &Value) -> &Value {
    match value.get("$ref").and_then(Value::as_str) {
        Some(reference) => document().pointer(reference.trim_start_matches('#')).expect("a component"),
        None => value,
    }
}

/// What of a value does not fit a schema of the document.
pub fn faults(schema: &Value, value: &Value) -> Vec<String> {
    validator(schema).iter_errors(value).map(|fault| format!("{}: {fault}", fault.instance_path())).collect()
}

fn validator(schema: &Value) -> Arc<Validator> {
    static COMPILED: OnceLock<Mutex<HashMap<String, Arc<Validator>>>> = OnceLock::new();
    let compiled = COMPILED.get_or_init(Mutex::default);
    let key = schema.to_string();
    let mut compiled = compiled.lock().expect("no panic while it was held");
    let made = compiled.entry(key).or_insert_with(|| {
        let root = json!({ "allOf": [schema], "components": document()["components"] });
        let options = jsonschema::options().with_draft(jsonschema::Draft::Draft202012).should_validate_formats(true);
        Arc::new(options.build(&root).expect("the document's schemas compile"))
    });
    Arc::clone(made)
}

/// Every operation: method, path template, operation id, the roles it names.
pub fn operations() -> Vec<(String, String, String, Vec<String>)> {
    let mut operations = Vec::new();
    for (path, item) in document()["paths"].as_object().expect("paths") {
        for method in ["get", "put", "post", "delete", "patch"] {
            let Some(operation) = item.get(method) else { continue };
            let id = operation["operationId"].as_str().expect("an operation id").to_owned();
            let roles = operation["security"][0]["bearer"].as_array().into_iter().flatten();
            let roles = roles.filter_map(Value::as_str).map(str::to_owned).collect();
            operations.push((method.to_uppercase(), path.clone(), id, roles));
        }
    }
    operations
}
