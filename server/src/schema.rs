//! What the API document says about a value is what is asked of it: bodies and queries are checked against the committed
//! document's own schemas, so that every fault is found at once and the document cannot promise what the server refuses.

mod bulk;
mod check;
mod model;
mod words;

use std::{collections::HashMap, sync::OnceLock};

use serde_json::Value;

pub use model::Schema;

use crate::{
    openapi::{COMPONENTS, QUERIES},
    problem::FieldFault,
};

/// The schemas of requests, each read when first asked for.
#[derive(Debug)]
pub struct Schemas {
    components: HashMap<&'static str, Entry>,
    /// By the id of the operation.
    queries: HashMap<&'static str, Entry>,
}

#[derive(Debug)]
struct Entry {
    text: &'static str,
    schema: OnceLock<Result<Schema, String>>,
}

impl Entry {
    fn new(text: &'static str) -> Self {
        Self { text, schema: OnceLock::new() }
    }

    fn schema(&self) -> Result<&Schema, String> {
        let read = || serde_json::from_str(self.text).map_err(|error| format!("{error} in the schema {}", self.text));
        self.schema.get_or_init(read).as_ref().map_err(Clone::clone)
    }
}

impl Default for Schemas {
    fn default() -> Self {
        Self {
            components: COMPONENTS.iter().map(|(name, text)| (*name, Entry::new(text))).collect(),
            queries: QUERIES.iter().map(|query| (query.operation, Entry::new(query.schema))).collect(),
        }
    }
}

impl Schemas {
    /// A schema by its name. One that is not there or cannot be read is a fault of ours.
    pub fn component(&self, name: &str) -> Result<&Schema, String> {
        self.components.get(name).ok_or_else(|| format!("no request has the schema {name}"))?.schema()
    }

    /// The schema of an operation's query.
    pub fn query(&self, operation: &str) -> Result<&Schema, String> {
        self.queries.get(operation).ok_or_else(|| format!("the operation {operation} has no query"))?.schema()
    }

    /// The schema of the query that is sent to an address.
    pub fn query_at(&self, method: &str, path: &str) -> Result<&Schema, String> {
        // Whoever asks for the head alone is answered as whoever asks for all of it.
        let method = if method == "HEAD" { "GET" } else { method };
        let query = QUERIES.iter().find(|query| query.method == method && query.path == path);
        self.query(query.ok_or_else(|| format!("{method} {path} has no query"))?.operation)
    }

    /// What a schema stands for.
    fn resolve<'s>(&'s self, schema: &'s Schema) -> Result<&'s Schema, String> {
        match &schema.reference {
            Some(reference) => self.resolve(self.component(reference.trim_start_matches("#/components/schemas/"))?),
            None => Ok(schema),
        }
    }

    /// Every fault of a value.
    pub fn faults(&self, schema: &Schema, value: &Value) -> Result<Vec<FieldFault>, String> {
        let mut faults = bulk::faults(self, schema, value)?;
        if !faults.is_empty() {
            return Ok(faults);
        }
        for finding in check::findings(self, schema, value)? {
            words::tell(&finding, &mut faults);
        }
        faults.sort_by(|a, b| a.pointer.cmp(&b.pointer));
        // A text of the wrong length need not be told that its shape is wrong too.
        let lengths: Vec<_> =
            faults.iter().filter(|fault| fault.code == "wrong_length").map(|fault| fault.pointer.clone()).collect();
        faults.retain(|fault| fault.code != "wrong_format" || !lengths.contains(&fault.pointer));
        faults.dedup_by(|a, b| a.pointer == b.pointer && a.detail == b.detail);
        Ok(faults)
    }
}

fn escape(name: &str) -> String {
    name.replace('~', "~0").replace('/', "~1")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A keyword that nothing checks, or a format that is not known here, would promise what nobody holds.
    #[test]
    fn every_schema_of_a_request_is_understood_whole() {
        let schemas = Schemas::default();
        for entry in schemas.components.values().chain(schemas.queries.values()) {
            assert!(entry.schema().is_ok(), "{:?}", entry.schema());
        }
    }
}
