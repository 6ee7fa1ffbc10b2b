//! The hash chain: each entry's hash covers the one before it and its own content, so no entry can be changed, taken out
//! or slipped in without showing.

use sha2::{Digest, Sha256};

/// The hash that stands before the first entry.
pub const BEGINNING: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// One entry as it is hashed. The payload is taken byte for byte as stored, so the order of its members never matters.
#[derive(Debug, Clone, Copy)]
pub struct Entry<'a> {
    pub seq: i64,
    pub written_at_ms: i64,
    pub person_id: Option<&'a str>,
    pub device_id: Option<&'a str>,
    pub act: &'a str,
    pub subject_id: &'a str,
    pub payload: &'a str,
}

impl Entry<'_> {
    /// The entry's hash. Every part is preceded by its length, so that no two entries run together to the same bytes.
    pub fn hash(&self, previous: &str) -> String {
        let (seq, at) = (self.seq.to_string(), self.written_at_ms.to_string());
        let person = self.person_id.unwrap_or_default();
        let device = self.device_id.unwrap_or_default();
        let mut sha = Sha256::new();
        for part in [previous, &seq, &at, person, device, self.act, self.subject_id, self.payload] {
            sha.update(u64::try_from(part.len()).unwrap_or(u64::MAX).to_be_bytes());
            sha.update(part.as_bytes());
        }
        hex(&sha.finalize())
    }
}

/// Lower-case hexadecimal.
pub fn hex(bytes: &[u8]) -> String {
    const DIGITS: [char; 16] = ['0', '1', '2', '3', '4', '5', '6', '7', '8', '9', 'a', 'b', 'c', 'd', 'e', 'f'];
    bytes.iter().flat_map(|byte| [byte >> 4, byte & 15]).filter_map(|digit| DIGITS.get(usize::from(digit))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const ENTRY: Entry<'_> = Entry {
        seq: 1,
        written_at_ms: 1_790_000_000_000,
        person_id: Some("p"),
        device_id: None,
        act: "application.recorded",
        subject_id: "a",
        payload: "{}",
    };

    #[test]
    fn hexadecimal_is_that_of_the_published_sha_256_test_vector() {
        // FIPS 180-4 example "abc", NIST cryptographic standards and guidelines.
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(hex(&Sha256::digest(b"abc")), expected);
    }

    #[test]
    fn every_part_and_the_entry_before_change_the_hash() {
        let hash = ENTRY.hash(BEGINNING);
        let changed = [
            Entry { seq: 2, ..ENTRY },
            Entry { written_at_ms: 1_790_000_000_001, ..ENTRY },
            Entry { person_id: None, ..ENTRY },
            Entry { device_id: Some("d"), ..ENTRY },
            Entry { act: "application.recorded ", ..ENTRY },
            Entry { subject_id: "b", ..ENTRY },
            Entry { payload: "{ }", ..ENTRY },
            // The same letters, divided otherwise.
            Entry { subject_id: "a{", payload: "}", ..ENTRY },
        ];
        assert!(changed.iter().all(|entry| entry.hash(BEGINNING) != hash));
        assert_ne!(ENTRY.hash(&hash), hash);
    }
}
