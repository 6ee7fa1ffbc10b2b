//! Long texts of acts, packed. What the journal's entry, the decision and the particulars of a record say is much the same from
//! record to record, so each is written as what differs from a text of its kind that is kept whole, its pattern: some seven
//! thousand bytes become a few hundred. The same bytes come out.

use std::{
    borrow::Cow,
    collections::{BTreeMap, HashMap, hash_map::Entry},
    fmt::Display,
};

use serde::Deserialize;
use serde_json::{Map, Value, value::RawValue};
use sqlx::{SqliteConnection, SqliteExecutor};
use zstd::{
    bulk::{Compressor, Decompressor},
    dict::EncoderDictionary,
};

use super::{bad_row, read_json};
use crate::acts::rows::StoredApplication;

/// More packs no smaller and takes longer (measured on records of four states).
const LEVEL: i32 = 3;
/// A text that packs to more than a third is like no pattern of its kind yet.
const WORTH: usize = 3;
/// Patterns of a kind. Beyond it, what is like none of them is packed by the newest, however badly.
const PATTERNS: i64 = 16;
/// The kind of the content of records: it is much the same everywhere.
const CONTENT: &str = "content";
/// The members of it that statements of SQL ask for.
const ASKED: [&str; 3] = ["equipment_id", "started_at", "supervisor_id"];
/// What one act can have written, in bytes.
const LONGEST: usize = 64 << 20;
/// Parts the texts of one act: JSON, as it is written here, has no line break in it.
const BREAK: char = '\n';

/// What is packed together of one act.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Texts {
    /// Of its entry in the journal.
    pub payload: String,
    pub decision: Option<String>,
    pub particulars: Option<String>,
    /// What weather services said.
    pub weather: Option<String>,
}

impl Texts {
    /// One text of them all. Nothing where it could not be parted again.
    fn joined(&self) -> Option<String> {
        let beside = [&self.decision, &self.particulars, &self.weather].map(|text| text.as_deref().unwrap_or_default());
        let texts = [self.payload.as_str()].into_iter().chain(beside);
        let whole = !texts.clone().any(|text| text.contains(BREAK));
        whole.then(|| texts.collect::<Vec<&str>>().join("\n"))
    }

    fn parted(text: &str) -> Option<Self> {
        let mut texts = text.split(BREAK);
        let payload = texts.next()?.to_owned();
        let mut beside = || texts.next().map(|text| Some(text.to_owned()).filter(|text| !text.is_empty()));
        let parted = Self { payload, decision: beside()?, particulars: beside()?, weather: beside()? };
        texts.next().is_none().then_some(parted)
    }

    /// What tells texts that are alike: the act, and the rule sets that it was decided under.
    fn kind(&self, act: &str) -> Result<String, sqlx::Error> {
        #[derive(Deserialize)]
        struct Sets {
            rule_sets: Vec<Set>,
        }
        #[derive(Deserialize)]
        struct Set {
            code: String,
        }
        let sets = self.decision.as_deref().map(|text| read_json::<Sets>(text, "decision")).transpose()?;
        let codes = sets.into_iter().flat_map(|sets| sets.rule_sets).map(|set| set.code);
        Ok(std::iter::once(act.to_owned()).chain(codes).collect::<Vec<String>>().join(" "))
    }
}

/// A text that others of its kind are packed by.
struct Pattern {
    seq: i64,
    body: String,
    dictionary: EncoderDictionary<'static>,
    /// Patterns of this kind, this one among them.
    of_kind: i64,
}

impl Pattern {
    fn new(seq: i64, body: &str, of_kind: i64) -> Self {
        Self { seq, body: body.to_owned(), dictionary: EncoderDictionary::copy(body.as_bytes(), LEVEL), of_kind }
    }

    /// The text packed by it, tried before the text is let go; nothing where it would not come out the same.
    fn pack(&self, text: &str) -> Option<Vec<u8>> {
        let mut compressor = Compressor::with_prepared_dictionary(&self.dictionary).ok()?;
        let packed = compressor.compress(text.as_bytes()).ok()?;
        unpacked_text(&packed, &self.body).is_ok_and(|out| out == text).then_some(packed)
    }
}

/// Packs texts, and knows the newest pattern of each kind that it met.
#[derive(Default)]
pub struct Packer {
    newest: HashMap<String, Pattern>,
}

impl std::fmt::Debug for Packer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Packer").field("kinds", &self.newest.len()).finish_non_exhaustive()
    }
}

impl Packer {
    /// The texts of an act, packed. Nothing where they could not be parted again.
    pub async fn pack(
        &mut self,
        connection: &mut SqliteConnection,
        act: &str,
        texts: &Texts,
    ) -> Result<Option<(i64, Vec<u8>)>, sqlx::Error> {
        match texts.joined() {
            Some(text) => self.pack_text(connection, texts.kind(act)?, &text).await,
            None => Ok(None),
        }
    }

    /// The content of a record, packed.
    pub async fn pack_content(
        &mut self,
        connection: &mut SqliteConnection,
        content: &str,
    ) -> Result<Option<(i64, Vec<u8>)>, sqlx::Error> {
        self.pack_text(connection, CONTENT.to_owned(), content).await
    }

    /// The pattern's number, and the text packed by it. What no pattern of its kind is like becomes one itself. Nothing where it
    /// cannot be packed, and is kept as it is.
    async fn pack_text(
        &mut self,
        connection: &mut SqliteConnection,
        kind: String,
        text: &str,
    ) -> Result<Option<(i64, Vec<u8>)>, sqlx::Error> {
        if !self.newest.contains_key(&kind)
            && let Some(known) = newest(connection, &kind).await?
        {
            self.newest.insert(kind.clone(), known);
        }
        let mut of_kind = 0;
        if let Some(pattern) = self.newest.get(&kind) {
            let packed = pattern.pack(text);
            let small = packed.as_ref().is_none_or(|packed| packed.len().saturating_mul(WORTH) <= text.len());
            if small || pattern.of_kind >= PATTERNS {
                return Ok(packed.map(|packed| (pattern.seq, packed)));
            }
            of_kind = pattern.of_kind;
        }
        // Without RETURNING: with it, SQLite looks through every entry and record for one that named this number before.
        let seq = sqlx::query!("INSERT INTO text_patterns (kind, body) VALUES ($1, $2)", kind, text)
            .execute(connection)
            .await?
            .last_insert_rowid();
        let pattern = Pattern::new(seq, text, of_kind + 1);
        let packed = pattern.pack(text);
        self.newest.insert(kind, pattern);
        Ok(packed.map(|packed| (seq, packed)))
    }
}

async fn newest(connection: &mut SqliteConnection, kind: &str) -> Result<Option<Pattern>, sqlx::Error> {
    let row = sqlx::query!(
        r#"SELECT seq AS "seq!", body AS "body!", (SELECT count(*) FROM text_patterns WHERE kind = $1) AS "of_kind!: i64"
           FROM text_patterns WHERE kind = $1 ORDER BY seq DESC LIMIT 1"#,
        kind
    )
    .fetch_optional(connection)
    .await?;
    Ok(row.map(|row| Pattern::new(row.seq, &row.body, row.of_kind)))
}

/// One text as it was packed.
pub fn unpacked_text(packed: &[u8], pattern: &str) -> Result<String, sqlx::Error> {
    Opener::default().open(packed, pattern).map(str::to_owned)
}

/// What statements of SQL ask of the content of a record: when the work began, with which machine and under whose supervision.
pub fn asked_of(content: &str) -> Result<String, sqlx::Error> {
    let whole: BTreeMap<Cow<'_, str>, &RawValue> =
        serde_json::from_str(content).map_err(|error| bad_row("content of an application")(&error))?;
    let mut asked = Map::new();
    for name in ASKED {
        let value: Value =
            whole.get(name).map_or(Ok(Value::Null), |value| read_json(value.get(), "member of a content"))?;
        if !value.is_null() {
            asked.insert(name.to_owned(), value);
        }
    }
    Ok(Value::Object(asked).to_string())
}

/// Reads texts one after another, and keeps ready what the last one was packed by.
#[derive(Default)]
pub struct Opener {
    ready: Option<(String, Decompressor<'static>)>,
    text: Vec<u8>,
}

impl std::fmt::Debug for Opener {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Opener")
    }
}

impl Opener {
    /// One text as it was packed.
    pub fn open(&mut self, packed: &[u8], pattern: &str) -> Result<&str, sqlx::Error> {
        let fault = bad_row("packed text");
        if self.ready.as_ref().is_none_or(|(known, _)| known != pattern) {
            let decompressor = Decompressor::with_dictionary(pattern.as_bytes()).map_err(|error| fault(&error))?;
            self.ready = Some((pattern.to_owned(), decompressor));
        }
        let Some((_, decompressor)) = &mut self.ready else { return Err(fault(&"it was not made ready")) };
        self.text.clear();
        self.text.reserve(Decompressor::<'_>::upper_bound(packed).unwrap_or(LONGEST).min(LONGEST));
        // A frame that cannot be read was changed, or rotted: that is a fault of this text, and not of the disk as a whole.
        decompressor.decompress_to_buffer(packed, &mut self.text).map_err(|error| fault(&error))?;
        std::str::from_utf8(&self.text).map_err(|error| fault(&error))
    }
}

/// The content of a record whole, from its columns.
pub fn content(left: String, packed: Option<Vec<u8>>, pattern: Option<String>) -> Result<String, sqlx::Error> {
    match (packed, pattern) {
        (Some(packed), Some(pattern)) => unpacked_text(&packed, &pattern),
        _ => Ok(left),
    }
}

/// Puts the content of a record that is packed back to where it stands whole.
pub fn open(stored: &mut StoredApplication) -> Result<(), sqlx::Error> {
    let (Some(pattern), Some(packed)) = (&stored.pattern, &stored.row.packed) else { return Ok(()) };
    let bytes = unhex(packed).ok_or_else(|| bad_row("packed text")(&"it is no hexadecimal"))?;
    stored.row.content = unpacked_text(&bytes, pattern)?;
    Ok(())
}

fn unhex(text: &str) -> Option<Vec<u8>> {
    let pairs = text.as_bytes().chunks(2).map(|pair| std::str::from_utf8(pair).ok());
    pairs.map(|pair| u8::from_str_radix(pair?, 16).ok()).collect()
}

fn unpacked(opener: &mut Opener, packed: &[u8], pattern: &str) -> Result<Texts, sqlx::Error> {
    Texts::parted(opener.open(packed, pattern)?)
        .ok_or_else(|| bad_row("packed text")(&"it has other parts than it was packed with"))
}

/// Reads packed texts, and keeps ready what it needed for them.
#[derive(Debug, Default)]
pub struct Unpacker {
    patterns: HashMap<i64, (String, Opener)>,
}

impl Unpacker {
    /// A pattern, and what reads by it.
    async fn ready(
        &mut self,
        connection: &mut SqliteConnection,
        pattern: i64,
    ) -> Result<&mut (String, Opener), sqlx::Error> {
        Ok(match self.patterns.entry(pattern) {
            Entry::Occupied(known) => known.into_mut(),
            Entry::Vacant(unknown) => {
                let body = sqlx::query_scalar!(r#"SELECT body AS "body!" FROM text_patterns WHERE seq = $1"#, pattern)
                    .fetch_optional(connection)
                    .await?
                    .ok_or_else(|| bad_row("packed text")(&"its pattern is gone"))?;
                unknown.insert((body, Opener::default()))
            }
        })
    }

    pub async fn unpack(
        &mut self,
        connection: &mut SqliteConnection,
        pattern: i64,
        packed: &[u8],
    ) -> Result<Texts, sqlx::Error> {
        let (body, opener) = self.ready(connection, pattern).await?;
        unpacked(opener, packed, body)
    }

    /// A text that was packed by itself, such as the content of a record.
    pub async fn text(
        &mut self,
        connection: &mut SqliteConnection,
        pattern: i64,
        packed: &[u8],
    ) -> Result<String, sqlx::Error> {
        let (body, opener) = self.ready(connection, pattern).await?;
        opener.open(packed, body).map(str::to_owned)
    }
}

/// What is decided about, and the act that decides it.
const ACTS: [(&str, &str); 4] = [
    ("application", "application.recorded"),
    ("correction", "application.corrected"),
    ("clearance", "clearance.granted"),
    ("attempt", "attempt.refused"),
];

/// What an act decides about; nothing where it decides nothing.
pub fn kind_of(act: &str) -> Option<&'static str> {
    ACTS.iter().find(|(_, known)| *known == act).map(|(kind, _)| *kind)
}

/// By which a decision and its weather are found.
pub fn subject(kind: &str, id: impl Display) -> String {
    format!("{kind}/{id}")
}

/// The texts of the act that a decision belongs to; nothing where they were not packed.
pub async fn of_decision(executor: impl SqliteExecutor<'_>, subject: &str) -> Result<Option<Texts>, sqlx::Error> {
    let Some((kind, id)) = subject.split_once('/') else { return Ok(None) };
    let Some((_, act)) = ACTS.iter().find(|(known, _)| *known == kind) else { return Ok(None) };
    let row = sqlx::query!(
        r#"SELECT j.packed AS "packed!", p.body AS "pattern!" FROM journal AS j JOIN text_patterns AS p ON p.seq = j.pattern
           WHERE j.subject_id = $1 AND j.act = $2"#,
        id,
        act
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| unpacked(&mut Opener::default(), &row.packed, &row.pattern)).transpose()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(decision: Option<&str>) -> Texts {
        Texts {
            payload: r#"{"a":"b\nc"}"#.to_owned(),
            decision: decision.map(ToOwned::to_owned),
            particulars: None,
            weather: Some("{}".to_owned()),
        }
    }

    #[test]
    fn what_is_joined_is_parted_into_the_same() {
        for one in [texts(None), texts(Some("{\"rule_sets\":[]}"))] {
            assert_eq!(Texts::parted(&one.joined().unwrap()), Some(one));
        }
        assert_eq!(texts(Some("two\nlines")).joined(), None, "it could not be parted again");
        assert_eq!(Texts::parted("a\n\n"), None);
        assert_eq!(Texts::parted("a\n\n\n\n"), None);
    }

    #[test]
    fn a_text_that_is_like_its_pattern_packs_small_and_comes_out_the_same() {
        let of = |number: usize| {
            let finding = |at: usize| format!(r#"{{"rule":"us-zz.rule.{at}","limit":"0.{at}","actual":"{number}"}}"#);
            let findings = (0..40).map(finding).collect::<Vec<_>>().join(",");
            texts(Some(&format!(r#"{{"findings":[{findings}]}}"#)))
        };
        let pattern = of(1).joined().unwrap();
        let text = of(1_234_567).joined().unwrap();
        let packed = Pattern::new(1, &pattern, 1).pack(&text).unwrap();
        assert!(packed.len() * 10 < text.len(), "{} of {}", packed.len(), text.len());
        assert_eq!(unpacked(&mut Opener::default(), &packed, &pattern).unwrap(), of(1_234_567));
        let other = unpacked(&mut Opener::default(), &packed, &text[1..]);
        assert!(other.is_err() || other.unwrap() != of(1_234_567));
    }

    #[test]
    fn alike_are_acts_of_one_kind_under_the_same_rule_sets() {
        let decided = r#"{"verdict":"go","rule_sets":[{"code":"us-md","hash":"0"},{"code":"company","hash":"1"}]}"#;
        assert_eq!(texts(Some(decided)).kind("clearance.granted").unwrap(), "clearance.granted us-md company");
        assert_eq!(texts(None).kind("application.corrected").unwrap(), "application.corrected");
    }
}
