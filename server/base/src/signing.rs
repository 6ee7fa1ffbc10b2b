//! The key by which receipts are signed: ed25519 (RFC 8032), by the library that TLS uses already.

use std::sync::OnceLock;

use base64::{Engine, engine::general_purpose::STANDARD};
use domain::{
    receipt::{Receipt, Signed},
    time::Instant,
};
use ring::signature::{ED25519, Ed25519KeyPair, KeyPair, UnparsedPublicKey};
use sha2::{Digest, Sha256};
use uuid::{Builder, Uuid};

use crate::problem::{Kind, Problem};

/// What stands before the 32 bytes of a public key in its usual form (RFC 8410, section 4).
const BEFORE_PUBLIC: [u8; 12] = [0x30, 0x2a, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x03, 0x21, 0x00];

/// A new key, to be stored.
pub struct NewKey {
    pub secret: [u8; 32],
    pub public: [u8; 32],
}

impl std::fmt::Debug for NewKey {
    /// The secret is never printed.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("NewKey").finish_non_exhaustive()
    }
}

impl NewKey {
    /// From the system's random source.
    pub fn make() -> Result<Self, Problem> {
        let mut secret = [0; 32];
        getrandom::fill(&mut secret).map_err(|error| Problem::fault(&error))?;
        let pair = Ed25519KeyPair::from_seed_unchecked(&secret)
            .map_err(|error| Problem::new(Kind::Fault, format!("No signing key can be made: {error}.")))?;
        let mut public = [0; 32];
        public.copy_from_slice(pair.public_key().as_ref());
        Ok(Self { secret, public })
    }
}

/// The id of the records that are signed by a key. It follows from the key, so that nobody can sign for these records with another one.
pub fn book_of(public: &[u8]) -> Uuid {
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&Sha256::digest(public)[..16]);
    // Version 8: made in a way of one's own (RFC 9562, section 5.8).
    Builder::from_custom_bytes(bytes).into_uuid()
}

/// The public part, in the form in which it stands in receipts.
pub fn public_text(public: &[u8]) -> String {
    STANDARD.encode(public)
}

/// The public part as common tools read it (PEM).
pub fn pem(public: &[u8]) -> String {
    let whole = [&BEFORE_PUBLIC, public].concat();
    format!("-----BEGIN PUBLIC KEY-----\n{}\n-----END PUBLIC KEY-----\n", STANDARD.encode(whole))
}

/// Whether a receipt carries the signature of the key that it names, and names the records of that key. It says nothing of whose they
/// are.
pub fn stands(signed: &Signed) -> bool {
    let (Ok(key), Ok(signature)) = (STANDARD.decode(&signed.receipt.key), STANDARD.decode(&signed.signature)) else {
        return false;
    };
    if signed.receipt.book != book_of(&key).to_string() {
        return false;
    }
    UnparsedPublicKey::new(&ED25519, key).verify(signed.receipt.text().as_bytes(), &signature).is_ok()
}

/// The key of a book. What it prints of itself for a log is the public part alone.
#[derive(Debug)]
pub struct SigningKey {
    pair: Ed25519KeyPair,
    book: Uuid,
    made_at: Instant,
    /// Written once, when the book is set up, and never changed since.
    company: OnceLock<String>,
}

impl SigningKey {
    /// Nothing if the two parts do not belong together.
    pub fn of(secret: &[u8], public: &[u8], made_at: Instant) -> Option<Self> {
        let pair = Ed25519KeyPair::from_seed_and_public_key(secret, public).ok()?;
        Some(Self { pair, book: book_of(public), made_at, company: OnceLock::new() })
    }

    pub fn book(&self) -> Uuid {
        self.book
    }

    pub fn made_at(&self) -> Instant {
        self.made_at
    }

    pub fn public(&self) -> &[u8] {
        self.pair.public_key().as_ref()
    }

    /// The company's name, if it was asked before.
    pub fn company(&self) -> Option<&str> {
        self.company.get().map(String::as_str)
    }

    pub fn keep_company(&self, name: &str) {
        let _ = self.company.set(name.to_owned());
    }

    /// Signs that the journal's newest entry had this number and hash.
    pub fn sign(&self, company: &str, (entry, head): (i64, String), signed_at: Instant) -> Signed {
        let (company, book, key) = (company.to_owned(), self.book.to_string(), public_text(self.public()));
        let receipt = Receipt { company, book, entry, head, signed_at, key };
        let signature = STANDARD.encode(self.pair.sign(receipt.text().as_bytes()));
        Signed { receipt, signature }
    }
}

#[cfg(test)]
mod tests {
    use domain::journal::BEGINNING;

    use super::*;

    fn bytes(hex: &str) -> Vec<u8> {
        (0..hex.len()).step_by(2).map(|at| u8::from_str_radix(&hex[at..at + 2], 16).expect("hexadecimal")).collect()
    }

    #[test]
    fn the_key_is_that_of_the_published_test_vector() {
        // RFC 8032, section 7.1, test 1.
        let secret = bytes("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60");
        let public = bytes("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a");
        let signature = "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b";
        let at = Instant::parse("2026-09-15T14:00:00Z").expect("an instant");
        let key = SigningKey::of(&secret, &public, at).expect("a key");
        assert_eq!(key.pair.sign(b"").as_ref(), bytes(signature));
        assert!(SigningKey::of(&secret, &[1; 32], at).is_none());
        // RFC 8410, section 10.1, prints a key in this form.
        let printed = "MCowBQYDK2VwAyEAGb9ECWmEzf6FQbrBZ9w7lshQhqowtrbLDFw4rXAxZuE=";
        let its = STANDARD.decode(printed).expect("base64").split_off(12);
        assert_eq!(pem(&its), format!("-----BEGIN PUBLIC KEY-----\n{printed}\n-----END PUBLIC KEY-----\n"));
    }

    #[test]
    fn a_receipt_stands_as_it_was_signed_and_no_other() {
        let new = NewKey::make().expect("a key");
        let at = Instant::parse("2026-09-15T14:00:00Z").expect("an instant");
        let key = SigningKey::of(&new.secret, &new.public, at).expect("a key");
        let signed = key.sign("Sample Lawn Care", (3, BEGINNING.to_owned()), at);
        assert!(stands(&signed));
        let changed = |change: fn(&mut Signed)| {
            let mut other = signed.clone();
            change(&mut other);
            stands(&other)
        };
        assert!(!changed(|other| other.receipt.entry = 4));
        assert!(!changed(|other| other.receipt.company = "Another".to_owned()));
        assert!(!changed(|other| other.receipt.key = public_text(&[7; 32])));
        assert!(!changed(|other| other.signature.replace_range(..1, "#")));
        assert!(!format!("{key:?} {new:?}").contains(&format!("{:?}", new.secret)));
    }
}
