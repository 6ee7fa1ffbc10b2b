//! The API document and the schema of rule files as they are committed. The server serves what was read and committed: nothing is described
//! while it runs. `build.rs` packs both, and cuts out of the document what requests are checked against.

use std::io::{self, Read as _};

use flate2::read::GzDecoder;

/// `openapi/openapi.json`, compressed as it is sent.
pub const DOCUMENT: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/openapi.json.gz"));
const RULE_FILE_SCHEMA: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/rule-file.schema.json.gz"));

/// What the parameters in the query of one operation have to be, as the schema of one object.
#[derive(Debug)]
pub struct QuerySchema {
    /// The `operationId`.
    pub operation: &'static str,
    pub method: &'static str,
    pub path: &'static str,
    pub schema: &'static str,
}

// `COMPONENTS`, every named schema that a request is made of, and `QUERIES`.
include!(concat!(env!("OUT_DIR"), "/inputs.rs"));

/// The API document.
pub fn document() -> io::Result<String> {
    unpacked(DOCUMENT)
}

/// The schema of rule files.
pub fn rule_file_schema() -> io::Result<String> {
    unpacked(RULE_FILE_SCHEMA)
}

fn unpacked(packed: &[u8]) -> io::Result<String> {
    let mut text = String::new();
    GzDecoder::new(packed).read_to_string(&mut text).map(|_| text)
}
