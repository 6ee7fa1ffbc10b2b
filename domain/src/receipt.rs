//! A receipt: how far the journal of a book had come at a moment, as a text that is signed and kept outside of the book. What stands
//! in a receipt that somebody else keeps can no longer be taken back: the journal's entry of that number must have that hash for ever.
//!
//! The text has a heading and six lines, each ended by a line feed; the signature (ed25519, RFC 8032) is over exactly these bytes and
//! follows them as a line of its own. Nothing else is signed.

use std::fmt::Write as _;

use crate::time::Instant;

/// The first line. A later form would have another number.
pub const HEADING: &str = "Swardbook receipt 1";
const LABELS: [&str; 7] = ["Company:", "Book:", "Entry:", "Head:", "Signed at:", "Key:", "Signature:"];
/// Base64 of the 64 bytes of a signature.
const SIGNATURE_LETTERS: usize = 88;

/// What a receipt says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Receipt {
    pub company: String,
    /// Tells these records from all others.
    pub book: String,
    /// Number of the journal's newest entry; 0 before the first.
    pub entry: i64,
    /// Its hash, which vouches for everything before it.
    pub head: String,
    pub signed_at: Instant,
    /// The public key, base64.
    pub key: String,
}

/// A receipt as it was found in a text, with the signature that it carries.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signed {
    pub receipt: Receipt,
    pub signature: String,
}

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ReceiptFault {
    #[error("there is no line `{HEADING}` in it")]
    None,
    #[error("the line `{0}` of a receipt is missing or cannot be read")]
    Line(&'static str),
}

impl Receipt {
    /// The bytes that are signed.
    pub fn text(&self) -> String {
        let Self { company, book, entry, head, signed_at, key } = self;
        let company = one_line(company);
        format!(
            "{HEADING}\nCompany: {company}\nBook: {book}\nEntry: {entry}\nHead: {head}\nSigned at: {signed_at}\nKey: {key}\n"
        )
    }
}

impl Signed {
    /// The whole receipt, as it is handed out.
    pub fn text(&self) -> String {
        let mut text = self.receipt.text();
        // Writing to a string cannot fail.
        let _ = writeln!(text, "Signature: {}", self.signature);
        text
    }

    /// Every receipt in a text, whatever stands around them. Lines may be quoted as mail programs do, and a line that was broken for
    /// want of room is put together again.
    pub fn all_in(text: &str) -> Result<Vec<Self>, ReceiptFault> {
        let mut found = Vec::new();
        let mut lines = text.lines().map(bare).peekable();
        while let Some(line) = lines.next() {
            if line != HEADING {
                continue;
            }
            let mut values: [String; LABELS.len()] = Default::default();
            let mut at = None;
            while let Some(line) = lines.next_if(|line| *line != HEADING) {
                let next = at.map_or(0, |at| at + 1);
                let begun = LABELS.get(next).and_then(|label| line.strip_prefix(label));
                if let Some(value) = begun {
                    at = Some(next);
                    push(&mut values, next, value);
                } else if let Some(at) = at {
                    push(&mut values, at, line);
                }
                if values.last().is_some_and(|signature| signature.len() >= SIGNATURE_LETTERS) {
                    break;
                }
            }
            found.push(Self::of(values)?);
        }
        if found.is_empty() { Err(ReceiptFault::None) } else { Ok(found) }
    }

    fn of(values: [String; LABELS.len()]) -> Result<Self, ReceiptFault> {
        let [company, book, entry, head, signed_at, key, signature] = values;
        let [_, of_book, of_entry, of_head, of_moment, of_key, of_signature] = LABELS;
        let whole = |value: String, label| if value.is_empty() { Err(ReceiptFault::Line(label)) } else { Ok(value) };
        Ok(Self {
            receipt: Receipt {
                company,
                book: whole(book, of_book)?,
                entry: entry.parse().map_err(|_| ReceiptFault::Line(of_entry))?,
                head: whole(head, of_head)?,
                signed_at: Instant::parse(&signed_at).map_err(|_| ReceiptFault::Line(of_moment))?,
                key: whole(key, of_key)?,
            },
            signature: whole(signature, of_signature)?,
        })
    }
}

/// Adds what stands on a line. Only a company's name has spaces within.
fn push(values: &mut [String; LABELS.len()], at: usize, more: &str) {
    if let Some(value) = values.get_mut(at) {
        let more = one_line(more);
        let apart = if at == 0 && !value.is_empty() && !more.is_empty() { " " } else { "" };
        value.push_str(apart);
        value.push_str(&more);
    }
}

/// A line without what a mail program puts before it.
fn bare(line: &str) -> &str {
    line.trim_start_matches(|letter: char| letter.is_whitespace() || letter == '>').trim_end()
}

/// A name on one line, with single spaces: how it is broken on paper is no part of what is signed.
fn one_line(text: &str) -> String {
    text.split(|letter: char| letter.is_whitespace() || letter.is_control())
        .filter(|word| !word.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn signed(entry: i64) -> Signed {
        let receipt = Receipt {
            company: "Sample  Lawn Care\n".to_owned(),
            book: "0190a000-0000-7000-8000-000000000001".to_owned(),
            entry,
            head: "ab".repeat(32),
            signed_at: Instant::parse("2026-09-15T14:00:00Z").expect("an instant"),
            key: "K".repeat(44),
        };
        Signed { receipt, signature: "S".repeat(SIGNATURE_LETTERS) }
    }

    #[test]
    fn the_text_is_these_lines_and_no_others() {
        let expected = format!(
            "Swardbook receipt 1\nCompany: Sample Lawn Care\nBook: 0190a000-0000-7000-8000-000000000001\nEntry: 42\nHead: {}\n\
             Signed at: 2026-09-15T14:00:00.000Z\nKey: {}\nSignature: {}\n",
            "ab".repeat(32),
            "K".repeat(44),
            "S".repeat(88)
        );
        assert_eq!(signed(42).text(), expected);
    }

    #[test]
    fn receipts_are_found_in_whatever_stands_around_them() {
        let quoted: Vec<String> = signed(7).text().lines().map(|line| format!("> {line}\r\n")).collect();
        let quoted = quoted.concat();
        let broken = signed(8).text().replace(&"S".repeat(88), &format!("{}\n  {}", "S".repeat(60), "S".repeat(28)));
        let text = format!("Dear Sir,\n\n{quoted}\nRegards\n{broken}and more: words\n{}", signed(9).text());
        let found = Signed::all_in(&text).expect("three receipts");
        let texts: Vec<String> = found.iter().map(Signed::text).collect();
        assert_eq!(texts, [7, 8, 9].map(|entry| signed(entry).text()));
    }

    #[test]
    fn what_is_no_whole_receipt_is_told() {
        assert_eq!(Signed::all_in("Entry: 4\n"), Err(ReceiptFault::None));
        let without = |label: &str| {
            let whole = signed(1).text();
            let left: Vec<&str> = whole.lines().filter(|line| !line.starts_with(label)).collect();
            Signed::all_in(&format!("{}\n", left.join("\n")))
        };
        assert!(without("Signature").is_err());
        assert!(without("Entry").is_err());
        assert_eq!(Signed::all_in(HEADING), Err(ReceiptFault::Line("Book:")));
        let word = signed(1).text().replace("Entry: 1", "Entry: one");
        assert_eq!(Signed::all_in(&word), Err(ReceiptFault::Line("Entry:")));
    }
}
