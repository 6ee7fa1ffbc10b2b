//! The server's reader of schemas against another's: a body or a query that one takes and the other refuses is a fault of one.
//! The other is a library that passes the suite of JSON Schema's own authors (<https://github.com/json-schema-org/JSON-Schema-Test-Suite>).

use harness::contract::{document, resolve};
use serde_json::{Value, json};
use server::{openapi::QUERIES, schema::Schemas};

/// What is put in the place of each value, one after another.
fn others() -> Vec<Value> {
    let texts = ["", " ", "x", "12", "-1.5", "0.0000001", "2026-02-29", "2026-02-28", "2026-02-28T10:00:00Z", "us-md"];
    let texts = texts.into_iter().chain(["2026-02-28T24:00:00Z", "America/New_York", "america/new_york", "line\nline"]);
    let id = "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a10";
    let long = ["y".repeat(61), "ü".repeat(301), "z".repeat(5_000), id.to_uppercase(), format!("{{{id}}}")];
    let mut values: Vec<Value> = texts.map(Value::from).chain(long.map(Value::from)).collect();
    values.extend([json!(null), json!(true), json!(0), json!(-1), json!(7), json!(5_000_000_000_i64), json!(u64::MAX)]);
    values.extend([
        json!(0.5),
        json!(1e300),
        json!(-1e300),
        json!(id),
        json!([]),
        json!({}),
        json!([null]),
        json!([id, id]),
    ]);
    values
}

/// A value with one thing changed, in every way that is tried.
fn changed(value: &Value) -> Vec<Value> {
    let mut all = others();
    match value {
        Value::Object(members) => {
            for (name, member) in members {
                let mut without = members.clone();
                without.remove(name);
                all.push(without.into());
                all.extend(changed(member).into_iter().map(|member| {
                    let mut with = members.clone();
                    with.insert(name.clone(), member);
                    with.into()
                }));
            }
            let mut more = members.clone();
            more.insert("nobody_knows".into(), json!(1));
            all.push(more.into());
        }
        Value::Array(entries) => {
            all.push([entries.clone(), entries.clone()].concat().into());
            for (index, entry) in entries.iter().enumerate() {
                all.extend(changed(entry).into_iter().map(|entry| {
                    let mut with = entries.clone();
                    with[index] = entry;
                    with.into()
                }));
            }
        }
        _ => {}
    }
    all
}

/// How many of the values both take, and how many both refuse.
fn agree(name: &str, schema: &Value, values: &[Value], taken: impl Fn(&Value) -> bool) -> [usize; 2] {
    let root = json!({ "allOf": [schema], "components": document()["components"] });
    let is_zone = |name: &str| domain::time::zone(name).is_ok_and(|zone| zone.iana_name() == Some(name));
    let options = jsonschema::options().with_draft(jsonschema::Draft::Draft202012).should_validate_formats(true);
    let judge = options.with_format("iana-time-zone", is_zone).build(&root).unwrap();
    let mut counts = [0; 2];
    for value in values {
        let fits = judge.is_valid(value);
        assert_eq!(taken(value), fits, "{name}: {value}");
        counts[usize::from(fits)] += 1;
    }
    counts
}

#[test]
fn bodies_are_judged_as_another_reader_of_schemas_judges_them() {
    let schemas = Schemas::default();
    let mut sum = [0; 2];
    for operations in document()["paths"].as_object().unwrap().values() {
        for operation in operations.as_object().unwrap().values() {
            let content = &operation["requestBody"]["content"]["application/json"];
            let Some(reference) = content["schema"]["$ref"].as_str() else { continue };
            let name = reference.rsplit('/').next().unwrap();
            let schema = resolve(&content["schema"]);
            let example =
                content.get("example").or_else(|| schema.get("example")).or_else(|| schema["examples"].get(0));
            let values = changed(example.unwrap());
            let taken = |value: &Value| {
                let component = schemas.component(name).unwrap();
                schemas.faults(component, value).unwrap().is_empty()
            };
            let counts = agree(name, &content["schema"], &values, taken);
            sum = [sum[0] + counts[0], sum[1] + counts[1]];
        }
    }
    assert!(sum[0] > 5_000 && sum[1] > 200, "the bodies that are tried became few: {sum:?}");
}

#[test]
fn queries_are_judged_as_another_reader_of_schemas_judges_them() {
    let schemas = Schemas::default();
    let mut sum = [0; 2];
    for query in QUERIES {
        let schema: Value = serde_json::from_str(query.schema).unwrap();
        let names = schema["properties"].as_object().unwrap().keys();
        let all: Value = names.map(|name| (name.clone(), json!("x"))).collect::<serde_json::Map<_, _>>().into();
        let taken = |value: &Value| schemas.faults(schemas.query(query.operation).unwrap(), value).unwrap().is_empty();
        let each = others().into_iter().flat_map(|other| {
            let one = |name: &String| json!({ name: other });
            all.as_object().unwrap().keys().map(one).collect::<Vec<_>>()
        });
        let values: Vec<Value> =
            changed(&all).into_iter().chain(each).chain([json!({}), json!({ "other": 1 })]).collect();
        let counts = agree(query.operation, &schema, &values, taken);
        sum = [sum[0] + counts[0], sum[1] + counts[1]];
    }
    assert!(sum[0] > 2_000 && sum[1] > 200, "the queries that are tried became few: {sum:?}");
}
