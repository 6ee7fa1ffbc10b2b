//! The API document: committed as it is served, whole, and with a bound on every value.

use std::collections::HashSet;

use harness::{approved, contract::document};
use serde_json::Value;

#[test]
fn the_committed_document_is_the_one_that_is_served() {
    let text = server::describe::document().to_pretty_json().unwrap() + "\n";
    let advice = "the API changed, and requests are still checked against the document as it was. If the change was meant, \
                  write the document anew and commit it with the change; if not, undo it.";
    approved::compare("openapi/openapi.json", &text, advice);
}

/// Every operation with its method and path.
fn operations() -> Vec<(String, &'static Value)> {
    let mut operations = Vec::new();
    for (path, item) in document()["paths"].as_object().unwrap() {
        for method in ["get", "put", "post", "delete", "patch"] {
            operations.extend(item.get(method).map(|operation| (format!("{method} {path}"), operation)));
        }
    }
    assert!(operations.len() > 40, "the document lost operations: {}", operations.len());
    operations
}

#[track_caller]
fn none(offenders: &[String], advice: &str) {
    assert!(offenders.is_empty(), "If you are here because of {offenders:#?}: {advice}");
}

#[test]
fn every_operation_says_what_it_does() {
    assert_eq!(document()["openapi"], "3.1.0");
    let tags: HashSet<&str> =
        document()["tags"].as_array().unwrap().iter().map(|tag| tag["name"].as_str().unwrap()).collect();
    let (mut offenders, mut ids) = (Vec::new(), HashSet::new());
    for (name, operation) in operations() {
        for member in ["summary", "description", "operationId"] {
            if operation[member].as_str().is_none_or(str::is_empty) {
                offenders.push(format!("{name} has no {member}"));
            }
        }
        if !ids.insert(operation["operationId"].to_string()) {
            offenders.push(format!("{name} has the operationId of another operation"));
        }
        let own = operation["tags"].as_array().unwrap();
        if own.len() != 1 || !tags.contains(own[0].as_str().unwrap()) {
            offenders.push(format!("{name} has not one tag that the head of the document declares"));
        }
        if operation.get("security").is_none() {
            offenders.push(format!("{name} does not say who may call it"));
        }
    }
    none(&offenders, "write a doc comment (its first line is the summary) and the members of `#[utoipa::path]`.");
}

/// The verbs of the API by method: one verb for one action over the whole document.
const VERBS: [(&str, &[&str]); 4] = [
    ("get", &["list", "get"]),
    ("put", &["replace", "record", "grant", "correct", "confirm", "review"]),
    ("post", &["create", "record", "enrol", "check", "compute", "move"]),
    ("delete", &["cancel", "revoke", "end"]),
];

#[test]
fn one_verb_means_one_action_and_begins_the_title() {
    let mut offenders = Vec::new();
    let mut unused: HashSet<(&str, &str)> =
        VERBS.iter().flat_map(|(method, verbs)| verbs.iter().map(|verb| (*method, *verb))).collect();
    for (name, operation) in operations() {
        let method = name.split(' ').next().unwrap();
        let id = operation["operationId"].as_str().unwrap();
        let title = operation["summary"].as_str().unwrap();
        let snake = id.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'_');
        let Some((verb, _)) = id.split_once('_').filter(|(_, noun)| snake && !noun.is_empty()) else {
            offenders.push(format!("{name}: the id {id} is no verb_noun in snake case"));
            continue;
        };
        let Some((method, verb)) = VERBS.iter().find_map(|(of, verbs)| {
            let verb = verbs.iter().find(|known| **known == verb)?;
            (*of == method).then_some((*of, *verb))
        }) else {
            offenders.push(format!("{name}: the verb of {id} is none of those that {method} has"));
            continue;
        };
        unused.remove(&(method, verb));
        let mut words = title.split(' ');
        if words.next().map(str::to_lowercase).as_deref() != Some(verb) || words.next().is_none() {
            offenders.push(format!("{name}: {id} is titled \"{title}\""));
        }
    }
    none(
        &offenders,
        "an id is verb_noun and a title says the same verb and the noun; see VERBS for those that there are.",
    );
    assert!(unused.is_empty(), "nothing is called by these verbs any more; take them out of VERBS: {unused:?}");
}

/// Names that say nothing by themselves, or that were words for several things.
const VAGUE: [&str; 12] =
    ["Answer", "Asked", "Hole", "Kind", "Named", "Planned", "Reach", "Row", "Seen", "Standing", "StandsBy", "Told"];

#[test]
fn no_schema_has_a_name_for_several_things() {
    let schemas = document()["components"]["schemas"].as_object().unwrap();
    let vague = |name: &&String| VAGUE.contains(&name.as_str()) || name.ends_with("Answer") || name.ends_with("Asked");
    let offenders: Vec<String> = schemas.keys().filter(vague).cloned().collect();
    none(&offenders, "name the schema by the one thing that it is.");
}

#[test]
fn every_operation_lists_its_problems_by_reference() {
    let mut offenders = Vec::new();
    for (name, operation) in operations() {
        let responses = operation["responses"].as_object().unwrap();
        let problems: Vec<_> = responses.iter().filter(|(status, _)| status.as_str() >= "400").collect();
        for (status, response) in &problems {
            let reference = response["$ref"].as_str().unwrap_or_default();
            let known = document().pointer(reference.trim_start_matches('#'));
            if known.is_none_or(|response| response["content"].get("application/problem+json").is_none()) {
                offenders.push(format!("{name} {status}"));
            }
        }
        for expected in ["401", "500", "503"] {
            if !responses.contains_key(expected) {
                offenders.push(format!("{name} does not list {expected}"));
            }
        }
        assert!(responses.keys().any(|status| status.starts_with('2')), "{name} lists no success");
    }
    none(&offenders, "problems are added in one place, `complete` of describe.rs, and not in an operation.");
}

#[test]
fn every_request_body_has_an_example_that_fits() {
    let mut offenders = Vec::new();
    for (name, operation) in operations() {
        let Some(body) = operation.get("requestBody") else { continue };
        if body["required"] != true {
            offenders.push(format!("{name} takes a request without its body"));
        }
        let forms = body["content"].as_object().unwrap();
        if !forms.contains_key("application/json") {
            // A file is its own example; that it is one, and how large it may be, must be said.
            let is_file = |content: &Value| harness::contract::resolve(&content["schema"])["format"] == "binary";
            if !forms.values().all(is_file) {
                offenders.push(format!("{name} takes neither JSON nor a file"));
            }
            continue;
        }
        let content = &body["content"]["application/json"];
        let schema = harness::contract::resolve(&content["schema"]);
        let example = content.get("example").or_else(|| schema.get("example")).or_else(|| schema["examples"].get(0));
        match example {
            None => offenders.push(format!("{name} has no example")),
            Some(example) => {
                let faults = harness::contract::faults(&content["schema"], example);
                offenders.extend(faults.into_iter().map(|fault| format!("{name}: {fault}")));
            }
        }
    }
    none(&offenders, "give the input type `#[schema(example = json!(...))]` that its own schema takes.");
}

#[test]
fn every_example_is_one() {
    let mut offenders = Vec::new();
    let mut looked_at = 0;
    for (name, schema) in document()["components"]["schemas"].as_object().unwrap() {
        let examples = schema["examples"].as_array().into_iter().flatten();
        for example in schema.get("example").into_iter().chain(examples) {
            let faults = harness::contract::faults(schema, example);
            offenders.extend(faults.into_iter().map(|fault| format!("{name}: {fault}")));
            looked_at += 1;
        }
    }
    assert!(looked_at > 30, "only {looked_at} examples were found");
    none(&offenders, "an example is read before anything else: write one that its own schema takes.");
}

#[test]
fn every_reference_leads_somewhere() {
    fn dangling(value: &Value, found: &mut Vec<String>) {
        match value {
            Value::Object(members) => {
                let reference = members.get("$ref").and_then(Value::as_str);
                let lost = |reference: &&str| document().pointer(reference.trim_start_matches('#')).is_none();
                found.extend(reference.filter(lost).map(str::to_owned));
                members.values().for_each(|inner| dangling(inner, found));
            }
            Value::Array(items) => items.iter().for_each(|inner| dangling(inner, found)),
            _ => {}
        }
    }
    let mut offenders = Vec::new();
    dangling(document(), &mut offenders);
    none(
        &offenders,
        "name the type in `components(schemas(...))` of describe.rs: a type that stands in a path alone is not found by itself.",
    );
}

/// What a schema leaves without bound.
fn unbounded(at: &str, schema: &Value, offenders: &mut Vec<String>) {
    if schema.get("$ref").is_some() || schema.get("enum").is_some() || schema.get("const").is_some() {
        return;
    }
    for choice in ["oneOf", "anyOf", "allOf"] {
        for (index, inner) in schema[choice].as_array().into_iter().flatten().enumerate() {
            unbounded(&format!("{at}/{choice}/{index}"), inner, offenders);
        }
    }
    for (name, inner) in schema["properties"].as_object().into_iter().flatten() {
        unbounded(&format!("{at}/{name}"), inner, offenders);
    }
    let is = |kind: &str| match &schema["type"] {
        Value::String(one) => one == kind,
        Value::Array(many) => many.iter().any(|one| one == kind),
        _ => false,
    };
    let shaped = ["uuid", "date"].iter().any(|format| schema["format"] == *format);
    if is("string") && !shaped && schema.get("maxLength").is_none() {
        offenders.push(format!("{at}: text without maxLength"));
    }
    if (is("integer") || is("number")) && (schema.get("minimum").is_none() || schema.get("maximum").is_none()) {
        offenders.push(format!("{at}: number without minimum and maximum"));
    }
    if is("array") {
        if schema.get("maxItems").is_none() {
            offenders.push(format!("{at}: list without maxItems"));
        }
        unbounded(&format!("{at}/items"), &schema["items"], offenders);
    }
    if is("object") && schema.get("properties").is_none() {
        if schema.get("maxProperties").is_none() {
            offenders.push(format!("{at}: object without properties and without maxProperties"));
        }
        unbounded(&format!("{at}/*"), &schema["additionalProperties"], offenders);
    }
    let known = ["type", "oneOf", "anyOf", "allOf"].iter().any(|member| schema.get(member).is_some());
    if !known {
        offenders.push(format!("{at}: says nothing of its type"));
    }
}

#[test]
fn every_value_has_a_bound() {
    let mut offenders = Vec::new();
    let schemas = document()["components"]["schemas"].as_object().unwrap();
    assert!(schemas.len() > 30, "the document lost schemas: {}", schemas.len());
    for (name, schema) in schemas {
        unbounded(name, schema, &mut offenders);
    }
    for (name, operation) in operations() {
        for parameter in operation["parameters"].as_array().into_iter().flatten() {
            let at = format!("{name} {} {}", parameter["in"], parameter["name"]);
            unbounded(&at, &parameter["schema"], &mut offenders);
            if parameter["description"].as_str().is_none_or(str::is_empty) {
                offenders.push(format!("{at}: no description"));
            }
        }
    }
    none(&offenders, "give the field `#[schema(...)]` (and a query's field `#[param(...)]`) with its bounds.");
}

/// The schemas that a request body is made of.
fn inputs() -> HashSet<String> {
    fn references(value: &Value, found: &mut Vec<String>) {
        match value {
            Value::Object(members) => {
                if let Some(Value::String(reference)) = members.get("$ref") {
                    found.push(reference.rsplit('/').next().unwrap().to_owned());
                }
                members.values().for_each(|inner| references(inner, found));
            }
            Value::Array(items) => items.iter().for_each(|inner| references(inner, found)),
            _ => {}
        }
    }
    let mut waiting = Vec::new();
    for (_, operation) in operations() {
        references(&operation["requestBody"], &mut waiting);
    }
    let mut inputs = HashSet::new();
    while let Some(name) = waiting.pop() {
        if inputs.insert(name.clone()) {
            references(&document()["components"]["schemas"][&name], &mut waiting);
        }
    }
    inputs
}

#[test]
fn no_input_takes_a_field_that_it_does_not_know() {
    let inputs = inputs();
    assert!(inputs.len() > 15, "{inputs:?}");
    let schema = |name: &String| &document()["components"]["schemas"][name];
    // Members by name are none of a type; what their values are is said.
    let by_name = |schema: &Value| schema["properties"].is_null() && schema["additionalProperties"].is_object();
    let takes_any = |name: &&String| {
        let schema = schema(name);
        schema["type"] == "object" && schema["additionalProperties"] != false && !by_name(schema)
    };
    let offenders: Vec<String> = inputs.iter().filter(takes_any).cloned().collect();
    none(&offenders, "give the input type `#[serde(deny_unknown_fields)]`, so that a misspelt field is refused.");
}
