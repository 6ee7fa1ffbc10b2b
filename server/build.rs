//! What is made while the server is built: the interactive API page's own files, out of the archive of a library; and out of
//! the committed API document what is sent and what requests are checked against.

use std::{
    collections::BTreeMap,
    env,
    error::Error,
    fmt::Write as _,
    fs,
    io::{Cursor, Read as _, Write as _},
    path::{Path, PathBuf},
    process::Command,
};

use flate2::{Compression, write::GzEncoder};
use serde_json::{Map, Value, json};
use utoipa_swagger_ui_vendored::SWAGGER_UI_VENDORED;
use zip::ZipArchive;

/// Of the archive's thirteen files these two are asked for. They are kept compressed: browsers take them so.
const API_PAGE: [&str; 2] = ["swagger-ui.css", "swagger-ui-bundle.js"];
const COMMITTED: [&str; 2] = ["openapi.json", "rule-file.schema.json"];

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-changed=../openapi");
    let folder = PathBuf::from(told("OUT_DIR")?);
    let mut archive = ZipArchive::new(Cursor::new(SWAGGER_UI_VENDORED))?;
    for name in API_PAGE {
        let wanted = format!("/dist/{name}");
        let index = (0..archive.len())
            .find(|&index| matches!(archive.name_for_index(index), Some(Ok(path)) if path.ends_with(&wanted)));
        let mut file = archive.by_index(index.ok_or_else(|| format!("the archive has no {name}"))?)?;
        let mut content = Vec::new();
        file.read_to_end(&mut content)?;
        pack(&folder, name, &content)?;
    }
    for name in COMMITTED {
        pack(&folder, name, &fs::read(Path::new("../openapi").join(name))?)?;
    }
    let document = serde_json::from_slice(&fs::read("../openapi/openapi.json")?)?;
    fs::write(folder.join("inputs.rs"), inputs(&document)?)?;
    pack_relocations();
    Ok(())
}

/// Where the server is loaded is told it by 75,000 entries of 24 bytes; packed, they take a hundredth. The loader must know how to
/// read them, as that of GNU's C library does from 2.36 on: on an older one, and where it is built for another machine, they stay.
fn pack_relocations() {
    let is_own = told("TARGET").ok() == told("HOST").ok();
    let is = |name: &str, wanted: &str| told(name).is_ok_and(|told| told == wanted);
    let is_gnu = is("CARGO_CFG_TARGET_ENV", "gnu") && is("CARGO_CFG_TARGET_OS", "linux");
    let is_new = || {
        let asked = Command::new("getconf").arg("GNU_LIBC_VERSION").output().ok()?;
        let version = String::from_utf8(asked.stdout).ok()?;
        let (major, minor) = version.trim().strip_prefix("glibc ")?.split_once('.')?;
        Some((major.parse::<u32>().ok()?, minor.parse::<u32>().ok()?) >= (2, 36))
    };
    if is_own && is_gnu && is_new().unwrap_or(false) {
        println!("cargo::rustc-link-arg-bins=-Wl,-z,pack-relative-relocs");
    }
}

fn pack(folder: &Path, name: &str, content: &[u8]) -> Result<(), Box<dyn Error>> {
    let mut packed = GzEncoder::new(Vec::new(), Compression::best());
    packed.write_all(content)?;
    Ok(fs::write(folder.join(format!("{name}.gz")), packed.finish()?)?)
}

/// The schemas of bodies and queries, one by one, so that nobody reads the whole document to check one request.
fn inputs(document: &Value) -> Result<String, Box<dyn Error>> {
    let mut needed = BTreeMap::new();
    let mut queries = String::new();
    for (path, item) in document["paths"].as_object().into_iter().flatten() {
        for (method, operation) in item.as_object().into_iter().flatten() {
            need(&operation["requestBody"], document, &mut needed)?;
            let Some(schema) = query(operation) else { continue };
            need(&schema, document, &mut needed)?;
            let id = &operation["operationId"];
            let (method, schema) = (method.to_uppercase(), schema.to_string());
            writeln!(
                queries,
                "    QuerySchema {{ operation: {id}, method: {method:?}, path: {path:?}, schema: {schema:?} }},"
            )?;
        }
    }
    let mut components = String::new();
    for (name, schema) in needed {
        writeln!(components, "    ({name:?}, {:?}),", schema.to_string())?;
    }
    Ok(format!(
        "pub static COMPONENTS: &[(&str, &str)] = &[\n{components}];\npub static QUERIES: &[QuerySchema] = &[\n{queries}];\n"
    ))
}

/// The parameters in an operation's query as one object, in which no other member may stand.
fn query(operation: &Value) -> Option<Value> {
    let in_query = operation["parameters"].as_array()?.iter().filter(|parameter| parameter["in"] == "query");
    let (mut properties, mut required) = (Map::new(), Vec::new());
    for parameter in in_query {
        let mut schema = parameter["schema"].clone();
        // What is said of a parameter is said of its value, where that has no name of its own.
        if let Some(own) = schema.as_object_mut().filter(|own| !own.contains_key("$ref")) {
            for about in ["description", "example"] {
                let said = parameter.get(about).map(|said| (about.to_owned(), said.clone()));
                own.extend(said.filter(|(about, _)| !own.contains_key(about)));
            }
        }
        properties.insert(parameter["name"].as_str()?.to_owned(), schema);
        required.extend((parameter["required"] == true).then(|| parameter["name"].clone()));
    }
    let schema =
        json!({ "type": "object", "properties": &properties, "required": required, "additionalProperties": false });
    (!properties.is_empty()).then_some(schema)
}

/// Adds the named schemas that a value refers to, and those that they refer to.
fn need<'d>(value: &Value, document: &'d Value, needed: &mut BTreeMap<String, &'d Value>) -> Result<(), String> {
    if let Some(reference) = value.get("$ref").and_then(Value::as_str) {
        let schema = document.pointer(reference.trim_start_matches('#')).ok_or_else(|| format!("no {reference}"))?;
        let name = reference.trim_start_matches("#/components/schemas/").to_owned();
        if needed.insert(name, schema).is_none() {
            need(schema, document, needed)?;
        }
    }
    match value {
        Value::Array(values) => values.iter().try_for_each(|value| need(value, document, needed)),
        Value::Object(members) => members.values().try_for_each(|value| need(value, document, needed)),
        _ => Ok(()),
    }
}

#[expect(clippy::disallowed_methods, reason = "this is where cargo says what it wants of a build script")]
fn told(name: &str) -> Result<String, env::VarError> {
    env::var(name)
}
