//! Copies that only whoever has a key can read: sealed to its public half by HPKE (RFC 9180, base mode, X25519 with HKDF-SHA256, and
//! ChaCha20-Poly1305), so that the server, which has the public half alone, cannot open what it has sealed.
//!
//! Each copy has a key pair of its own. Its secret is sealed to each key that may open the copy; the copy itself follows, sealed to
//! that pair, in pieces of 64 KiB of which the last says that it is the last.

use std::{
    fmt,
    io::{self, Read, Write},
    path::Path,
};

use base64::{Engine, engine::general_purpose::STANDARD};
use hpke::{
    Deserializable, Kem as _, OpModeR, OpModeS, Serializable,
    aead::{AeadCtxR, AeadCtxS, ChaCha20Poly1305},
    kdf::HkdfSha256,
    kem::X25519HkdfSha256 as Kem,
    setup_receiver, setup_sender, single_shot_open, single_shot_seal,
};
use sha2::{Digest, Sha256};

use crate::store::file;

type Public = <Kem as hpke::Kem>::PublicKey;
type Private = <Kem as hpke::Kem>::PrivateKey;
type Encapped = <Kem as hpke::Kem>::EncappedKey;

const MAGIC: &[u8] = b"swardbook sealed 1\n";
/// What each use of a key is for.
const OF_SECRET: &[u8] = b"swardbook sealed 1: the secret of a copy";
const OF_COPY: &[u8] = b"swardbook sealed 1: a copy";
/// What is said with each piece.
const MORE: &[u8] = b"more";
const LAST: &[u8] = b"last";
const PIECE: usize = 64 * 1024;
/// How much longer a piece becomes.
const TAG: usize = 16;
/// Bytes of a key, and of the secret of a copy when it is sealed.
const KEY: usize = 32;
const SEALED_SECRET: usize = KEY + TAG;
/// Keys that a copy may be sealed to at most.
const KEYS: usize = 16;
/// Bytes of a hash that stand behind a key, so that a letter that slipped is noticed before anything is sealed to nobody.
const CHECK: usize = 4;

fn invalid(what: &str) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, what.to_owned())
}

fn failed(error: hpke::HpkeError) -> io::Error {
    io::Error::other(format!("it cannot be sealed: {error}"))
}

/// Whether a file that begins so is sealed.
pub fn begins(head: &[u8]) -> bool {
    head.len() >= 16 && MAGIC.starts_with(&head[..16])
}

/// A key as people hand it on: its bytes, and a few of their hash.
fn written(key: &[u8], of: &str) -> String {
    let check = Sha256::new_with_prefix(of).chain_update(key).finalize();
    STANDARD.encode([key, &check[..CHECK]].concat())
}

fn read(text: &str, of: &str) -> Option<Vec<u8>> {
    let mut key = STANDARD.decode(text.trim()).ok().filter(|bytes| bytes.len() == KEY + CHECK)?;
    key.truncate(KEY);
    (written(&key, of) == text.trim()).then_some(key)
}

const PUBLIC: &str = "public";
const SECRET: &str = "secret";

/// The half of a key that seals. Everybody may know it.
#[derive(Clone, PartialEq, Eq)]
pub struct PublicKey(Public);

impl PublicKey {
    pub fn parse(text: &str) -> Result<Self, String> {
        let bytes = read(text, PUBLIC).ok_or_else(|| {
            format!("{text} is no public key of copies: give the line that `swardbook backup-key` printed, as it is")
        })?;
        Public::from_bytes(&bytes).map(Self).map_err(|error| error.to_string())
    }
}

impl fmt::Display for PublicKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&written(&self.0.to_bytes(), PUBLIC))
    }
}

impl fmt::Debug for PublicKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "PublicKey({self})")
    }
}

/// The half of a key that opens. It has no way into a log.
pub struct Secret(Private);

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret")
    }
}

impl Secret {
    pub fn make() -> Self {
        Self(Kem::gen_keypair().0)
    }

    pub fn public(&self) -> PublicKey {
        PublicKey(Kem::sk_to_pk(&self.0))
    }

    /// Writes a new file for this user alone.
    pub fn keep(&self, to: &Path) -> io::Result<()> {
        file::make(to)?;
        let text = format!(
            "# Opens the copies of a Swardbook server that are sealed to the public key below. Whoever has it can read them;\n\
             # without it nobody can.\nPublic: {}\nSecret: {}\n",
            self.public(),
            written(&self.0.to_bytes(), SECRET)
        );
        let mut out = std::fs::File::options().write(true).open(to)?;
        out.write_all(text.as_bytes())?;
        out.sync_all()
    }

    /// Reads a file that was made so.
    pub fn read(file: &Path) -> Result<Self, String> {
        let text = std::fs::read_to_string(file).map_err(|error| format!("{}: {error}", file.display()))?;
        let secret = text.lines().find_map(|line| read(line.strip_prefix("Secret: ")?, SECRET));
        let secret = secret.and_then(|bytes| Private::from_bytes(&bytes).ok());
        secret.map(Self).ok_or_else(|| {
            format!("{} holds no key of copies that can be read: `swardbook backup-key` makes one", file.display())
        })
    }
}

/// Seals what is written to it.
pub(super) struct Writer<W> {
    out: W,
    context: AeadCtxS<ChaCha20Poly1305, HkdfSha256, Kem>,
    waiting: Vec<u8>,
}

impl<W: Write> Writer<W> {
    /// Sealed to each of the keys.
    pub fn new(mut out: W, keys: &[PublicKey]) -> io::Result<Self> {
        let (secret, public) = Kem::gen_keypair();
        out.write_all(MAGIC)?;
        out.write_all(&[u8::try_from(keys.len())
            .ok()
            .filter(|_| keys.len() <= KEYS)
            .ok_or_else(|| invalid("too many keys"))?])?;
        for PublicKey(key) in keys {
            let base = OpModeS::Base;
            let sealed =
                single_shot_seal::<ChaCha20Poly1305, HkdfSha256, Kem>(&base, key, OF_SECRET, &secret.to_bytes(), b"");
            let (encapped, sealed) = sealed.map_err(failed)?;
            out.write_all(&encapped.to_bytes())?;
            out.write_all(&sealed)?;
        }
        let (encapped, context) = setup_sender::<_, _, Kem>(&OpModeS::Base, &public, OF_COPY).map_err(failed)?;
        out.write_all(&encapped.to_bytes())?;
        Ok(Self { out, context, waiting: Vec::with_capacity(PIECE) })
    }

    fn seal(&mut self, said: &[u8]) -> io::Result<()> {
        let sealed = self.context.seal(&self.waiting, said).map_err(failed)?;
        self.waiting.clear();
        self.out.write_all(&sealed)
    }

    /// Writes what is left, and that it is the last.
    pub fn finish(mut self) -> io::Result<W> {
        self.seal(LAST)?;
        Ok(self.out)
    }
}

impl<W: Write> Write for Writer<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        // A full piece waits until it is known that more follows.
        if self.waiting.len() == PIECE && !bytes.is_empty() {
            self.seal(MORE)?;
        }
        let taken = bytes.len().min(PIECE - self.waiting.len());
        self.waiting.extend_from_slice(&bytes[..taken]);
        Ok(taken)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

/// Opens what was sealed.
pub(super) struct Reader<R> {
    read: R,
    context: AeadCtxR<ChaCha20Poly1305, HkdfSha256, Kem>,
    /// What was read ahead, to know whether a piece is the last.
    ahead: Vec<u8>,
    opened: Vec<u8>,
    at: usize,
    done: bool,
}

impl<R: Read> Reader<R> {
    pub fn new(mut read: R, secret: Option<&Secret>) -> io::Result<Self> {
        let mut magic = [0; MAGIC.len()];
        read.read_exact(&mut magic).map_err(|_| invalid("it is no copy of records"))?;
        if magic != MAGIC {
            return Err(invalid("it is no copy of records"));
        }
        let Some(Secret(secret)) = secret else {
            return Err(invalid("it is sealed: give the file with the secret key (--identity)"));
        };
        let mut count = [0];
        read.read_exact(&mut count)?;
        let mut own = None;
        for _ in 0..count[0] {
            let (mut encapped, mut sealed) = ([0; KEY], [0; SEALED_SECRET]);
            read.read_exact(&mut encapped)?;
            read.read_exact(&mut sealed)?;
            let Ok(encapped) = Encapped::from_bytes(&encapped) else { continue };
            let base = OpModeR::Base;
            let opened = single_shot_open::<ChaCha20Poly1305, HkdfSha256, Kem>(
                &base, secret, &encapped, OF_SECRET, &sealed, b"",
            );
            own = own.or(opened.ok());
        }
        let own = own.ok_or_else(|| {
            invalid("the secret key does not open it: it was sealed to another public key. Take the file of that key")
        })?;
        let broken = |_| invalid("its head is damaged");
        let mut encapped = [0; KEY];
        read.read_exact(&mut encapped)?;
        let own = Private::from_bytes(&own).map_err(broken)?;
        let encapped = Encapped::from_bytes(&encapped).map_err(broken)?;
        let context = setup_receiver(&OpModeR::Base, &own, &encapped, OF_COPY).map_err(broken)?;
        let mut reader = Self { read, context, ahead: Vec::new(), opened: Vec::new(), at: 0, done: false };
        reader.ahead = reader.piece()?;
        Ok(reader)
    }

    fn piece(&mut self) -> io::Result<Vec<u8>> {
        let mut piece = Vec::with_capacity(PIECE + TAG);
        self.read.by_ref().take((PIECE + TAG) as u64).read_to_end(&mut piece)?;
        Ok(piece)
    }
}

impl<R: Read> Read for Reader<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        while self.at == self.opened.len() && !self.done {
            let next = self.piece()?;
            let sealed = std::mem::replace(&mut self.ahead, next);
            self.done = self.ahead.is_empty();
            let said = if self.done { LAST } else { MORE };
            let opened = self.context.open(&sealed, said);
            self.opened = opened.map_err(|_| invalid("it was cut or changed after it was sealed"))?;
            self.at = 0;
        }
        let taken = into.len().min(self.opened.len() - self.at);
        into[..taken].copy_from_slice(&self.opened[self.at..self.at + taken]);
        self.at += taken;
        Ok(taken)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sealed(text: &[u8], keys: &[PublicKey]) -> Vec<u8> {
        let mut writer = Writer::new(Vec::new(), keys).expect("a writer");
        writer.write_all(text).expect("written");
        writer.finish().expect("sealed")
    }

    fn opened(sealed: &[u8], secret: Option<&Secret>) -> Result<Vec<u8>, String> {
        let mut text = Vec::new();
        let read = Reader::new(sealed, secret).and_then(|mut reader| reader.read_to_end(&mut text));
        read.map(|_| text).map_err(|error| error.to_string())
    }

    #[test]
    fn what_is_sealed_opens_with_each_of_its_keys_and_no_other() {
        let (first, second, other) = (Secret::make(), Secret::make(), Secret::make());
        for length in [0, 1, PIECE - 1, PIECE, PIECE + 1, 3 * PIECE] {
            let text: Vec<u8> = (0..length).map(|at| u8::try_from(at % 251).expect("small")).collect();
            let sealed = sealed(&text, &[first.public(), second.public()]);
            assert!(opened(&sealed, Some(&first)).is_ok_and(|opened| opened == text));
            assert!(opened(&sealed, Some(&second)).is_ok_and(|opened| opened == text));
            assert!(opened(&sealed, Some(&other)).unwrap_err().contains("sealed to another public key"));
            assert!(opened(&sealed, None).unwrap_err().contains("--identity"));
        }
        assert!(opened(b"Mow the lawn, and then mow it again.", Some(&first)).unwrap_err().contains("no copy"));
    }

    #[test]
    fn what_is_cut_swapped_or_changed_is_told_wherever_that_is() {
        let secret = Secret::make();
        let text = vec![7; 3 * PIECE];
        let whole = sealed(&text, &[secret.public()]);
        let head = whole.len() - 3 * (PIECE + TAG);
        // Cut between two pieces, where nothing else would tell.
        for cut in [0, 10, head, head + 1, head + PIECE + TAG, head + 2 * (PIECE + TAG), whole.len() - 1] {
            assert!(opened(&whole[..cut], Some(&secret)).is_err(), "cut at {cut}");
        }
        for at in [0, MAGIC.len(), MAGIC.len() + 1, MAGIC.len() + 40, head - 1, head, whole.len() - 1] {
            let mut changed = whole.clone();
            changed[at] ^= 1;
            assert!(opened(&changed, Some(&secret)).is_err(), "changed at {at}");
        }
        let mut swapped = whole.clone();
        let (first, second) = swapped[head..].split_at_mut(PIECE + TAG);
        first.swap_with_slice(&mut second[..PIECE + TAG]);
        assert!(opened(&swapped, Some(&secret)).is_err());
        let longer = [&whole[..], &[0]].concat();
        assert!(opened(&longer, Some(&secret)).is_err());
    }

    #[test]
    fn a_key_is_handed_on_as_text_and_a_letter_that_slipped_is_noticed() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("copies.key");
        let secret = Secret::make();
        secret.keep(&file).expect("kept");
        assert!(secret.keep(&file).is_err(), "never over a file");
        assert_eq!(Secret::read(&file).expect("read").public(), secret.public());
        let public = secret.public().to_string();
        assert_eq!(PublicKey::parse(&format!(" {public}\n")).expect("read"), secret.public());
        for at in 0..public.len() {
            let mut slipped = public.clone().into_bytes();
            slipped[at] = if slipped[at] == b'A' { b'B' } else { b'A' };
            assert!(PublicKey::parse(&String::from_utf8(slipped).expect("text")).is_err(), "at {at}");
        }
        // The secret is no public key, nor is anything else.
        let text = std::fs::read_to_string(&file).expect("text");
        let line = text.lines().find_map(|line| line.strip_prefix("Secret: ")).expect("a line");
        assert!(PublicKey::parse(line).is_err() && PublicKey::parse("").is_err());
        std::fs::write(&file, text.replace(line, &public)).expect("written");
        assert!(Secret::read(&file).unwrap_err().contains("no key of copies"));
        assert!(!format!("{secret:?}").contains(line));
    }
}
