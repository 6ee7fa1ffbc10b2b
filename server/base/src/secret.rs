//! Hashes and random secrets: one home, because what is hashed twice in two ways never compares equal.

use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use domain::journal::hex;
use serde_json::Value;
use sha2::{Digest, Sha256};

use crate::problem::Problem;

/// SHA-256 in hexadecimal, as the journal keeps it and as a token is stored.
pub fn sha256(bytes: impl AsRef<[u8]>) -> String {
    hex(&Sha256::digest(bytes))
}

/// SHA-256 of a JSON value's text with sorted members, in hexadecimal.
pub fn fingerprint(value: &Value) -> String {
    // serde_json keeps members sorted, so equal values have equal text.
    sha256(value.to_string())
}

/// What the hash of a text is salted with, from two new identifiers: their random parts make 148 bits.
pub fn salt(ids: [uuid::Uuid; 2]) -> String {
    sha256(format!("{}{}", ids[0], ids[1])).chars().take(32).collect()
}

/// A new token: 256 bits from the operating system, with a prefix by which a scanner for leaked secrets knows it.
pub fn new_token() -> Result<String, Problem> {
    new_token_of("sward_")
}

/// The same of another kind.
pub fn new_token_of(prefix: &str) -> Result<String, Problem> {
    random_text().map(|secret| format!("{prefix}{secret}"))
}

/// A one-time code of 128 bits, in groups that can be read aloud.
pub fn new_code() -> Result<String, Problem> {
    const ALPHABET: &[u8; 32] = b"ABCDEFGHJKLMNPQRSTUVWXYZ23456789";
    let mut bytes = [0_u8; 26];
    getrandom::fill(&mut bytes).map_err(|error| Problem::fault(&error))?;
    let letters: Vec<u8> = bytes.iter().map(|byte| ALPHABET[usize::from(byte % 32)]).collect();
    Ok(letters.chunks(5).map(String::from_utf8_lossy).collect::<Vec<_>>().join("-"))
}

fn random_text() -> Result<String, Problem> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes).map_err(|error| Problem::fault(&error))?;
    Ok(URL_SAFE_NO_PAD.encode(bytes))
}

/// What is stored of a one-time code. Case and the dashes between the groups do not matter: people type it.
pub fn code_hash(code: &str) -> String {
    let plain: String = code.chars().filter(char::is_ascii_alphanumeric).collect();
    sha256(plain.to_ascii_uppercase())
}
