//! Finds sections of the help by words: those first that have most of them, and have them in their headings.

use std::cmp::Reverse;

use super::markdown::{Section, Topic};
use crate::field_fault::truncate_chars;

/// Sections that are shown at most: whoever needs more asks in other words.
const MOST: usize = 12;
/// A passage is about this long.
const PASSAGE: usize = 260;
/// Words that stand everywhere and so find nothing; a question in a whole sentence is full of them.
const EVERYWHERE: [&str; 52] = [
    "a", "an", "and", "are", "as", "at", "be", "been", "but", "by", "can", "did", "do", "does", "for", "from", "had",
    "has", "have", "how", "i", "if", "in", "into", "is", "it", "its", "me", "my", "no", "not", "now", "of", "on", "or",
    "our", "so", "that", "the", "there", "this", "to", "was", "we", "were", "what", "when", "where", "why", "will",
    "with", "you",
];

/// A section that answers, with the passage that has most of the words.
#[derive(Debug)]
pub struct Found {
    pub href: String,
    pub heading: String,
    pub topic: String,
    /// The passage in parts; those that were asked for are marked.
    pub passage: Vec<(String, bool)>,
    rank: (usize, usize, usize),
}

/// What is looked for: words without their endings.
struct Asked(Vec<String>);

impl Asked {
    fn of(question: &str) -> Self {
        let all: Vec<String> = words(question).map(|(word, _)| word.to_lowercase()).collect();
        let mut telling: Vec<String> =
            all.iter().filter(|word| !EVERYWHERE.contains(&word.as_str())).cloned().collect();
        if telling.is_empty() {
            telling = all;
        }
        let mut stems: Vec<String> = telling.iter().map(|word| stem(word)).collect();
        stems.sort();
        stems.dedup();
        Self(stems)
    }

    /// Which of the words this one is. Short ones are whole words, longer ones the beginnings of words.
    fn which(&self, word: &str) -> Option<usize> {
        let lower = with_i(word.to_lowercase());
        self.0
            .iter()
            .position(|asked| if asked.len() < 3 { lower == *asked } else { lower.starts_with(asked.as_str()) })
    }

    /// How many of the words a text has, and how often it has any.
    fn count(&self, text: &str) -> (u64, usize) {
        let hits = words(text).filter_map(|(word, _)| self.which(word));
        hits.fold((0, 0), |(which, times), at| (which | 1_u64 << at.min(63), times + 1))
    }

    fn marked(&self, text: &str) -> Vec<(String, bool)> {
        let mut parts = Vec::new();
        let mut from = 0;
        for (word, at) in words(text).filter(|(word, _)| self.which(word).is_some()) {
            if at > from {
                parts.push((text[from..at].to_owned(), false));
            }
            parts.push((word.to_owned(), true));
            from = at + word.len();
        }
        parts.push((text[from..].to_owned(), false));
        parts
    }
}

/// The words of a text, each with its place.
fn words(text: &str) -> impl Iterator<Item = (&str, usize)> {
    let between = |c: char| !c.is_alphanumeric();
    let mut next = 0;
    let parts = text.split_inclusive(between).map(move |part| {
        let at = next;
        next += part.len();
        (part.trim_end_matches(between), at)
    });
    parts.filter(|(word, _)| !word.is_empty())
}

/// A word without the endings that English gives it: "refused" asks for "refuse" and "refusal" too, "stopped" for "stop", and
/// "companies" for "company".
fn stem(word: &str) -> String {
    for ending in ["ing", "ed", "es", "s", "e"] {
        if let Some(rest) = word.strip_suffix(ending)
            && rest.len() >= 4
        {
            let rest = if matches!(ending, "ing" | "ed") { undoubled(rest) } else { rest };
            return with_i(rest.to_owned());
        }
    }
    with_i(word.strip_suffix('s').filter(|rest| rest.len() == 3).unwrap_or(word).to_owned())
}

/// English doubles the last consonant before an ending. A word of four letters may end so by itself, as "fill" and "pass" do.
fn undoubled(word: &str) -> &str {
    let mut last = word.chars().rev();
    let (Some(one), Some(other)) = (last.next(), last.next()) else { return word };
    let by_itself = matches!(one, 'l' | 's' | 'z') && word.len() < 6;
    let doubled = one == other && one.is_ascii_lowercase() && !"aeiou".contains(one);
    if doubled && !by_itself { &word[..word.len() - 1] } else { word }
}

/// With a last `y` after a consonant as the `i` that it becomes before an ending.
fn with_i(mut word: String) -> String {
    let mut last = word.chars().rev();
    let turns = last.next() == Some('y') && last.next().is_some_and(|before| !"aeiou".contains(before));
    if turns {
        word.pop();
        word.push('i');
    }
    word
}

/// The sections that have any of the words. Some topics have one section more than their text: a list, of which each line answers by
/// itself, so that a long list has no more of the words than its best line.
pub fn search<'a>(question: &str, topics: &'a [Topic], own: impl Fn(&Topic) -> Option<&'a Section>) -> Vec<Found> {
    let asked = Asked::of(question);
    let mut found: Vec<Found> = topics
        .iter()
        .flat_map(|topic| {
            let lead = judged(&asked, topic, None, &topic.title, &topic.summary);
            let sections = topic.sections.iter();
            let sections = sections.map(|one| judged(&asked, topic, Some(&one.id), &one.heading, &one.text));
            let list = own(topic).map(|one| {
                let line = one.text.lines().max_by_key(|line| asked.count(line).0.count_ones()).unwrap_or_default();
                judged(&asked, topic, Some(&one.id), &one.heading, line)
            });
            sections.chain(list).chain([lead]).flatten().collect::<Vec<_>>()
        })
        .collect();
    found.sort_by_key(|one| Reverse(one.rank));
    found.truncate(MOST);
    found
}

fn judged(asked: &Asked, topic: &Topic, id: Option<&str>, heading: &str, text: &str) -> Option<Found> {
    let (in_heading, headed) = asked.count(heading);
    let (in_text, times) = asked.count(text);
    // The title helps a section that has something of its own, and finds none by itself.
    let (in_title, _) = asked.count(&topic.title);
    if headed + times == 0 {
        return None;
    }
    let distinct = (in_heading | in_text | in_title).count_ones() as usize;
    let rank = (distinct, 3 * in_heading.count_ones() as usize + in_title.count_ones() as usize, times.min(20));
    let href = id.map_or_else(|| format!("/help/{}", topic.slug), |id| format!("/help/{}#{id}", topic.slug));
    let passage = asked.marked(&passage(asked, text));
    Some(Found { href, heading: heading.to_owned(), topic: topic.title.clone(), passage, rank })
}

/// The sentences with most of the words, and what follows them, as far as there is room.
fn passage(asked: &Asked, text: &str) -> String {
    let sentences: Vec<&str> = text.lines().flat_map(|line| line.split_inclusive(". ")).collect();
    let worth = |at: &usize| {
        let (which, times) = asked.count(sentences[*at]);
        (which.count_ones(), times.min(3), Reverse(*at))
    };
    let Some(best) = (0..sentences.len()).max_by_key(worth) else { return String::new() };
    let mut passage = String::new();
    for sentence in &sentences[best..] {
        if !passage.is_empty() && passage.len() + sentence.len() > PASSAGE {
            break;
        }
        if !passage.is_empty() && !passage.ends_with(' ') {
            // What follows stands in a line of its own, such as the next of a list.
            passage.push_str(if passage.ends_with(['.', ':', ';', '?', '!']) { " " } else { "; " });
        }
        passage.push_str(sentence);
    }
    truncate_chars(passage.trim().to_owned(), 2 * PASSAGE)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pages::help::topics::HANDBOOK;

    fn hrefs(question: &str) -> Vec<String> {
        search(question, &HANDBOOK, |_| None).into_iter().map(|found| found.href).collect()
    }

    #[test]
    fn a_question_finds_the_section_that_answers_it_among_the_first() {
        for (question, href) in [
            ("record refused what now", "/help/recording#when-a-record-is-refused"),
            ("phone without network", "/help/phone"),
            ("restore a backup", "/help/server#restore-a-copy"),
            ("measurement waits for the office", "/help/measuring#what-waits-for-the-office"),
            ("stop", "/help/check#what-go-care-and-stop-mean"),
            ("lime", "/help/soil#lime"),
            ("password", "/help/people"),
            ("stopped", "/help/check#what-go-care-and-stop-mean"),
            ("license ran out", "/help/certificates#when-one-runs-out"),
            ("licenses", "/help/certificates"),
            ("saturated", "/help/check"),
            ("setback", "/help/measuring#setback-from-water"),
            ("wrong amount", "/help/correcting#correct-a-wrong-amount-or-delete-or-undo-a-record"),
            ("delete a record", "/help/correcting#correct-a-wrong-amount-or-delete-or-undo-a-record"),
            ("undo a record", "/help/correcting#correct-a-wrong-amount-or-delete-or-undo-a-record"),
            ("care level", "/help/season#a-program"),
            ("deliveries", "/help/products#stock"),
            ("alarm", "/help/server#watch-it"),
        ] {
            let found = hrefs(question);
            let first: Vec<&String> = found.iter().take(3).collect();
            assert!(first.iter().any(|one| one.starts_with(href)), "{question}: {first:?}");
        }
    }

    #[test]
    fn more_of_the_words_come_before_fewer_and_nonsense_finds_nothing() {
        let found = search("soil lime", &HANDBOOK, |_| None);
        assert!(found.len() > 2 && found.is_sorted_by_key(|one| Reverse(one.rank)));
        assert!(hrefs("xyzzy").is_empty());
        assert!(hrefs("!? --").is_empty());
        assert!(hrefs("the of").len() > 1, "a question of common words alone is taken at its word");
    }

    #[test]
    fn a_long_list_does_not_win_by_its_length() {
        let lines = [
            "Sample state. License of whoever applies",
            "Other county. Certificates ran out, water",
            "Nowhereland. The water",
        ];
        let text = lines.map(|line| format!("{line}.\n")).concat().repeat(20);
        let (id, heading, html) = ("list".to_owned(), "Rule sets".to_owned(), String::new());
        let list = Section { id, heading, html, text };
        let asked = |question: &str| search(question, &HANDBOOK, |topic| (topic.slug == "law").then_some(&list));
        let found = asked("license ran out");
        assert!(found[0].href.starts_with("/help/certificates"), "{}", found[0].href);
        assert_eq!(asked("nowhereland water")[0].href, "/help/law#list", "a line that answers is found all the same");
    }

    #[test]
    fn endings_are_taken_off_as_english_puts_them_on() {
        for (one, other) in [
            ("stopped", "stop"),
            ("cancelled", "cancel"),
            ("companies", "company"),
            ("deliveries", "delivery"),
            ("copy", "copies"),
            ("spilled", "spills"),
            ("refusing", "refused"),
        ] {
            assert_eq!(stem(one), stem(other), "{one}, {other}");
        }
        assert_eq!([stem("filling"), stem("passed"), stem("days"), stem("stay")], ["fill", "pass", "day", "stay"]);
    }

    #[test]
    fn a_passage_shows_the_words_that_were_asked_for() {
        let asked = Asked::of("refused records");
        assert_eq!(asked.0, ["record", "refus"]);
        let parts = asked.marked("A record was refused.");
        let marked: Vec<&str> = parts.iter().filter(|(_, hit)| *hit).map(|(text, _)| text.as_str()).collect();
        assert_eq!(marked, ["record", "refused"]);
        assert_eq!(parts.iter().map(|(text, _)| text.as_str()).collect::<String>(), "A record was refused.");
        assert_eq!(stem("gas"), "gas");
        assert_eq!(stem("caps"), "cap");
    }
}
