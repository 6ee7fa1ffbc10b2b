//! The verdict in one sentence.

use super::answer::{Finding, MESSAGE_LENGTH, Verdict};
use crate::text::truncate_chars;

/// A sentence behind a colon begins small, unless its first word is a name or a sign such as N or P2O5.
fn after_colon(sentence: &str) -> String {
    let mut letters = sentence.chars();
    match (letters.next(), letters.clone().next()) {
        (Some(first), Some(next))
            if BEGINS_SMALL.iter().any(|word| sentence.starts_with(word)) && !next.is_uppercase() =>
        {
            first.to_lowercase().chain(letters).collect()
        }
        _ => sentence.to_owned(),
    }
}

/// First words of messages that are no names.
const BEGINS_SMALL: [&str; 12] =
    ["A ", "An ", "Another ", "By ", "In ", "No ", "Nobody ", "Nothing ", "Only ", "The ", "This ", "With "];

/// The verdict in one sentence, with the gravest reason and how many more there are.
pub fn summary(verdict: Verdict, findings: &[Finding]) -> String {
    let count = findings.iter().filter(|finding| finding.verdict == verdict).count();
    let word = match verdict {
        Verdict::Go => return "Go: every rule that was asked is met.".to_owned(),
        Verdict::Care => "Care",
        Verdict::Stop => "Stop",
    };
    let first = findings.first().map_or_else(String::new, |finding| after_colon(&finding.message));
    let more = match count.saturating_sub(1) {
        0 => String::new(),
        1 => " (and one more reason)".to_owned(),
        more => format!(" (and {more} more reasons)"),
    };
    truncate_chars(&format!("{word}: {first}{more}"), MESSAGE_LENGTH)
}

#[cfg(test)]
mod tests {
    use super::after_colon;

    #[test]
    fn a_sentence_behind_a_colon_begins_small_unless_with_a_name() {
        let cases = [
            ("The ground is frozen.", "the ground is frozen."),
            ("A watch is in force.", "a watch is in force."),
            ("Nobody has looked.", "nobody has looked."),
            ("Kentucky bluegrass takes less.", "Kentucky bluegrass takes less."),
            ("N is over its cap.", "N is over its cap."),
            ("P2O5 needs a soil report.", "P2O5 needs a soil report."),
            ("", ""),
        ];
        for (sentence, behind) in cases {
            assert_eq!(after_colon(sentence), behind);
        }
    }
}
