//! What stands of an application by the words of its record and of every correction since, without the ledger: the second of the
//! two ways that must agree.

use domain::ids::{CorrectionId, SectionId};

use serde::Deserialize;

use super::CorrectionChange;
use crate::acts::application::AppliedLine;

/// A correction as it is read for this: its id, whether it leaves what it does not name, and its content.
type Word = (CorrectionId, i64, String);

/// What is read of a correction's content. Its reason stands there in those of earlier versions alone.
#[derive(Debug, Deserialize)]
pub struct Said {
    pub reason: Option<String>,
    change: Option<CorrectionChange>,
}

/// What is read of a record's content.
#[derive(Debug, Deserialize)]
struct Recorded {
    lines: Vec<AppliedLine>,
}

/// The lines that stand, each with the last correction that named it. `since` is a list of corrections, the oldest first.
pub fn last_word(recorded: &str, since: &str) -> Result<Vec<(AppliedLine, Option<CorrectionId>)>, serde_json::Error> {
    let recorded: Recorded = serde_json::from_str(recorded)?;
    let mut standing: Vec<(AppliedLine, Option<CorrectionId>)> =
        recorded.lines.into_iter().map(|line| (line, None)).collect();
    for (id, leaves_others, content) in serde_json::from_str::<Vec<Word>>(since)? {
        let correction: Said = serde_json::from_str(&content)?;
        let change = correction.change.unwrap_or_default();
        let stays = |section: SectionId| leaves_others == 1 && !change.names(section);
        standing.retain(|(line, _)| stays(line.section_id));
        standing.extend(change.lines.into_iter().map(|line| (line, Some(id))));
    }
    Ok(standing)
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;

    fn id(of: u8) -> String {
        format!("0199a000-0000-7000-8000-0000000000{of:02x}")
    }

    fn recorded() -> String {
        let line = |section: u8, product: &str| json!({ "section_id": id(section), "product_lb": product });
        json!({
            "property_id": id(1), "product_id": id(2), "started_at": "2026-09-15T10:05:00-04:00",
            "finished_at": "2026-09-15T10:31:00-04:00", "purpose": "maintenance", "equipment": "drop_spreader",
            "ground": "moist", "pavement_cleaned": true, "lines": [line(0xa, "20"), line(0xb, "10"), line(0xc, "5")],
        })
        .to_string()
    }

    /// Section and product of what stands after corrections, each with whether it leaves others.
    fn standing(since: &[(u8, Value)]) -> Vec<(String, String, Option<u8>)> {
        let words: Vec<Value> = since
            .iter()
            .zip(1_u8..)
            .map(|((leaves_others, change), at)| {
                let mut content = json!({ "application_id": id(3), "reason": "Weighed again." });
                if !change.is_null() {
                    content["change"] = change.clone();
                }
                json!([id(0xf0 + at), leaves_others, content.to_string()])
            })
            .collect();
        let lines = last_word(&recorded(), &Value::from(words).to_string()).unwrap();
        let number = |id: CorrectionId| id.uuid().as_bytes()[15] - 0xf0;
        let told = lines.into_iter().map(|(line, by)| {
            let section = line.section_id.uuid().as_bytes()[15];
            (format!("{section:x}"), line.product_lb.to_string(), by.map(number))
        });
        told.collect()
    }

    fn told(section: &str, product: &str, by: Option<u8>) -> (String, String, Option<u8>) {
        (section.to_owned(), product.to_owned(), by)
    }

    #[test]
    fn a_line_that_no_correction_names_stands_as_it_was_recorded() {
        let line = json!({ "lines": [{ "section_id": id(0xb), "product_lb": "11" }] });
        let named = standing(&[(1, line.clone())]);
        assert_eq!(named, [told("a", "20", None), told("c", "5", None), told("b", "11", Some(1))]);
        // Of old a correction named every line, and took back what it left out.
        assert_eq!(standing(&[(0, line.clone())]), [told("b", "11", Some(1))]);
        let back = json!({ "lines": [], "taken_back": [id(0xa)] });
        let both = standing(&[(1, line.clone()), (1, back.clone())]);
        assert_eq!(both, [told("c", "5", None), told("b", "11", Some(1))]);
        assert_eq!(standing(&[(0, line), (1, back)]), [told("b", "11", Some(1))]);
    }

    #[test]
    fn what_was_taken_back_whole_can_be_put_down_again() {
        assert_eq!(standing(&[(0, Value::Null)]), []);
        let again = json!({ "lines": [{ "section_id": id(0xc), "product_lb": "4" }] });
        assert_eq!(standing(&[(0, Value::Null), (0, again)]), [told("c", "4", Some(2))]);
    }
}
