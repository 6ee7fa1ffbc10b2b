//! Records held against receipts that were kept outside of them.

use std::path::Path;

use base64::{Engine, engine::general_purpose::STANDARD};
use domain::{
    receipt::{ReceiptFault, Signed},
    time::Instant,
};
use serde_json::Value;
use sqlx::SqliteConnection;

use crate::{
    signing,
    store::receipts::{first_after, hash_at, newest, whole_key},
};

/// What came of it: what each receipt that fits covers, and what does not fit.
#[derive(Debug, Default)]
pub struct Held {
    pub fits: Vec<String>,
    pub faults: Vec<String>,
}

/// The receipts in what a person names: a file of any kind that has receipts in it, or the text of a receipt itself.
pub fn read(given: &str) -> Result<Vec<Signed>, String> {
    let file = Path::new(given);
    // A receipt is longer than any name of a file may be, and the system may say so instead of that it is not there.
    let text = match std::fs::read(file) {
        Ok(bytes) => String::from_utf8_lossy(&bytes).into_owned(),
        Err(_) if given.len() > 200 => given.to_owned(),
        Err(error) => return Err(format!("the receipt {given} cannot be read: {error}")),
    };
    let named = if given.len() > 200 { "what was given" } else { given };
    found(&text).map_err(|fault| format!("no receipt can be read in {named}: {fault}"))
}

/// Every receipt in a text: as it is printed, in an answer of the API (JSON), in a statement's table (CSV), or as an answer's header.
fn found(text: &str) -> Result<Vec<Signed>, ReceiptFault> {
    match Signed::all_in(text) {
        Err(ReceiptFault::None) => {}
        read => return read,
    }
    if let Ok(answer) = serde_json::from_str::<Value>(text) {
        let mut texts = String::new();
        within(&answer, &mut texts);
        return Signed::all_in(&texts);
    }
    let letters: String = text.split_whitespace().collect();
    if let Some(text) = STANDARD.decode(letters).ok().and_then(|bytes| String::from_utf8(bytes).ok()) {
        return Signed::all_in(&text);
    }
    let mut table = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
    let mut lines = String::new();
    for row in table.records().flatten().filter(|row| row.get(0) == Some("receipt")) {
        lines.push_str(row.iter().skip(1).find(|cell| !cell.is_empty()).unwrap_or_default());
        lines.push('\n');
    }
    Signed::all_in(&lines)
}

/// The texts of receipts anywhere in an answer.
fn within(answer: &Value, texts: &mut String) {
    match answer {
        Value::Object(members) => {
            let text = |name: &str| members.get(name).and_then(Value::as_str);
            if let (Some(signed), Some(signature)) = (text("text"), text("signature")) {
                texts.extend([signed, "Signature: ", signature, "\n"]);
            }
            members.values().for_each(|member| within(member, texts));
        }
        Value::Array(items) => items.iter().for_each(|item| within(item, texts)),
        _ => {}
    }
}

/// Holds a book against receipts.
pub async fn hold(connection: &mut SqliteConnection, receipts: &[Signed]) -> Result<Held, sqlx::Error> {
    let mut held = Held::default();
    // What is wrong with the key itself is told by the check of the tables.
    let key = whole_key(&mut *connection).await?;
    for signed in receipts {
        let named = format!("the receipt of entry {}, signed at {}", signed.receipt.entry, signed.receipt.signed_at);
        let fault = match &key {
            _ if !signing::stands(signed) => Some(
                "does not carry the signature of the key that it names: it was changed or copied wrong, or it never was one"
                    .to_owned(),
            ),
            Some(key) if signed.receipt.book != key.book().to_string() => Some(format!(
                "is of other records: it names {} of {}, and these are {}. Either it belongs to another company or file, or this file \
                 was made anew under another key",
                signed.receipt.book,
                signed.receipt.company,
                key.book()
            )),
            _ => lost(connection, signed, key.is_some()).await?,
        };
        match fault {
            Some(fault) => held.faults.push(format!("{named}, {fault}")),
            None => held.fits.push(format!("{named}, fits: everything up to that entry stands as it was then")),
        }
    }
    Ok(held)
}

/// What of a journal is missing in a copy of it.
#[derive(Debug, PartialEq, Eq)]
pub struct Missing {
    pub first: i64,
    pub last: i64,
    /// When it was signed that the last of them was there.
    pub signed_at: Instant,
}

/// Holds a copy that is to take the place of lost records against receipts that may be newer than it: what it cannot have is missing,
/// and everything else must fit.
pub async fn since(
    connection: &mut SqliteConnection,
    receipts: &[Signed],
) -> Result<(Held, Option<Missing>), sqlx::Error> {
    let book = whole_key(&mut *connection).await?.map(|key| key.book().to_string());
    let (last, _) = newest(&mut *connection).await?;
    let (newer, rest): (Vec<Signed>, Vec<Signed>) = receipts.iter().cloned().partition(|signed| {
        signed.receipt.entry > last && signing::stands(signed) && Some(&signed.receipt.book) == book.as_ref()
    });
    let mut held = hold(connection, &rest).await?;
    let mut missing: Option<Missing> = None;
    for Signed { receipt, .. } in &newer {
        if first_after(connection, receipt.signed_at).await?.is_some() {
            held.faults.push(format!(
                "the receipt of entry {}, signed at {}, covers more than this copy has, and this copy has entries from after it: it is no \
                 earlier state of the same records",
                receipt.entry, receipt.signed_at
            ));
        } else if missing.as_ref().is_none_or(|known| known.last < receipt.entry) {
            missing = Some(Missing { first: last + 1, last: receipt.entry, signed_at: receipt.signed_at });
        }
    }
    Ok((held, missing))
}

/// What is wrong with a journal that a receipt of its own vouches for: its end is missing, an older copy goes on in its place, or it
/// was written anew.
async fn lost(
    connection: &mut SqliteConnection,
    signed: &Signed,
    has_key: bool,
) -> Result<Option<String>, sqlx::Error> {
    let receipt = &signed.receipt;
    let there =
        if receipt.entry == 0 { Some(receipt.head.clone()) } else { hash_at(connection, receipt.entry).await? };
    if there.as_ref() == Some(&receipt.head) {
        return Ok(None);
    }
    let (last, _) = newest(&mut *connection).await?;
    // Everything that a receipt covers was written before it was signed.
    let later = first_after(connection, receipt.signed_at).await?.filter(|later| *later <= receipt.entry);
    Ok(Some(match (later, there) {
        _ if !has_key => format!(
            "does not fit: these records have no key yet and their journal ends at entry {last}. They are an older copy, from before \
             receipts were signed, or those of somebody else"
        ),
        (Some(later), _) => format!(
            "does not fit: entry {later} was written after the receipt, which covers {} entries. An older copy, up to entry {}, was put \
             back and worked on. What stood in entries {later} to {} is lost",
            receipt.entry,
            later - 1,
            receipt.entry
        ),
        (None, None) => format!(
            "does not fit: the journal ends at entry {last}. Entries {} to {} are lost: the end was cut off, or an older copy was put \
             in the place of these records",
            last + 1,
            receipt.entry
        ),
        (None, Some(_)) => format!(
            "does not fit: entry {} is another one than it was then, and says that it was written before the receipt. The journal was \
             written anew, there or further up",
            receipt.entry
        ),
    }))
}

#[cfg(test)]
mod tests {
    use domain::{journal::BEGINNING, time::Instant};

    use super::*;
    use crate::signing::{NewKey, SigningKey};

    #[test]
    fn a_receipt_is_found_in_every_form_in_which_one_leaves() {
        let new = NewKey::make().expect("a key");
        let at = Instant::parse("2026-09-15T14:00:00Z").expect("an instant");
        let key = SigningKey::of(&new.secret, &new.public, at).expect("a key");
        let signed = key.sign("Sample Lawn Care, Inc.", (3, BEGINNING.to_owned()), at);
        let text = signed.text();
        let json = serde_json::json!({ "sections": [], "receipt": { "text": signed.receipt.text(), "signature": signed.signature } });
        let rows: Vec<String> = text.lines().map(|line| format!("receipt,,,\"{line}\",\r\n")).collect();
        let rows = rows.concat();
        for form in [text.clone(), json.to_string(), STANDARD.encode(&text), format!("row,client,note\r\n{rows}")] {
            assert_eq!(found(&form), Ok(vec![signed.clone()]), "{form}");
        }
        assert!(found("row,client\r\n").is_err());
        assert!(found("{}").is_err());
        assert!(read("no/such/file").unwrap_err().contains("cannot be read"));
        assert_eq!(read(&text), Ok(vec![signed]));
    }
}
