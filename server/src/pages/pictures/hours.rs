//! The hours of a day as a strip: what each is good for, as a sign and a word, above its wind and its rain.

use askama::Template;
use domain::decision::Verdict;

/// Units that an hour is wide: a sign and a word fit into it.
const HOUR: i64 = 52;
/// Units of the names at the left.
const NAMES: i64 = 64;

/// One hour as it is drawn and as the table beside it says it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hour {
    /// When it begins, and from when to when.
    pub begins: String,
    pub span: String,
    pub verdict: Verdict,
    /// As people read them; nothing where it is not known.
    pub air: Option<String>,
    pub wind: Option<String>,
    pub gust: Option<String>,
    pub rain: Option<String>,
}

/// A verdict's sign with its word, and its class.
pub const fn said(verdict: Verdict) -> (&'static str, &'static str) {
    match verdict {
        Verdict::Go => ("✓ go", "go"),
        Verdict::Care => ("▲ care", "care"),
        Verdict::Stop => ("■ stop", "stop"),
    }
}

impl Hour {
    pub const fn said(&self) -> &'static str {
        said(self.verdict).0
    }

    /// In the order of the table: air, wind, gusts, rain.
    pub fn figures(&self) -> [Option<&str>; 4] {
        [&self.air, &self.wind, &self.gust, &self.rain].map(Option::as_deref)
    }

    pub const fn class(&self) -> &'static str {
        said(self.verdict).1
    }
}

/// The picture.
#[derive(Debug, Template)]
#[template(path = "picture_hours.html")]
pub struct HourStrip {
    cells: Vec<Cell>,
    width: i64,
    words: String,
}

#[derive(Debug, PartialEq, Eq)]
struct Cell {
    x: i64,
    middle: i64,
    /// The height of the block: what suits best stands tallest.
    top: i64,
    tall: i64,
    hour: Hour,
}

impl HourStrip {
    /// Nothing for no hours.
    pub fn of(hours: &[Hour]) -> Option<Self> {
        let (first, count) = (hours.first()?, i64::try_from(hours.len()).unwrap_or_default());
        let cell = |(at, hour): (i64, &Hour)| {
            let tall = match hour.verdict {
                Verdict::Go => 40,
                Verdict::Care => 32,
                Verdict::Stop => 24,
            };
            Cell {
                x: NAMES + at * HOUR,
                middle: NAMES + at * HOUR + HOUR / 2,
                top: 62 - tall,
                tall,
                hour: hour.clone(),
            }
        };
        // Hours with one answer are one part of the sentence.
        let mut parts: Vec<(&str, &str, Verdict)> = vec![(&first.begins, &first.begins, first.verdict)];
        for hour in hours {
            match parts.last_mut() {
                Some(last) if last.2 == hour.verdict => last.1 = &hour.begins,
                _ => parts.push((&hour.begins, &hour.begins, hour.verdict)),
            }
        }
        let words = parts.iter().map(|(from, to, verdict)| {
            let word = said(*verdict).1;
            if from == to {
                format!("the hour from {from}: {word}")
            } else {
                format!("the hours from {from} to that from {to}: {word}")
            }
        });
        let words: Vec<String> = words.collect();
        Some(Self { width: NAMES + count * HOUR, cells: (0..).zip(hours).map(cell).collect(), words: words.join("; ") })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hour(begins: &str, verdict: Verdict) -> Hour {
        Hour { begins: begins.to_owned(), span: String::new(), verdict, air: None, wind: None, gust: None, rain: None }
    }

    #[test]
    fn hours_stand_beside_one_another_and_never_over_the_names() {
        let hours = [hour("7:00", Verdict::Go), hour("8:00", Verdict::Stop), hour("9:00", Verdict::Care)];
        let strip = HourStrip::of(&hours).unwrap();
        let places: Vec<_> = strip.cells.iter().map(|cell| (cell.x, cell.middle, cell.top, cell.tall)).collect();
        assert_eq!(places, [(64, 90, 22, 40), (116, 142, 38, 24), (168, 194, 30, 32)]);
        assert_eq!(strip.width, 220);
        assert!(HourStrip::of(&[]).is_none(), "of no hours there is nothing to draw");
    }

    #[test]
    fn the_sentence_has_one_part_for_hours_with_one_answer() {
        let hours = [hour("7:00", Verdict::Go), hour("8:00", Verdict::Go), hour("9:00", Verdict::Stop)];
        let words = HourStrip::of(&hours).unwrap().words;
        assert_eq!(words, "the hours from 7:00 to that from 8:00: go; the hour from 9:00: stop");
        let signs = [Verdict::Go, Verdict::Care, Verdict::Stop].map(|verdict| hour("7:00", verdict).said());
        assert_eq!(signs, ["✓ go", "▲ care", "■ stop"]);
    }
}
