//! Which watches and warnings of a list are in force, and what each means for the work.
//!
//! A list holds originals beside their updates, tests, cancellations and what has ended. A watch is in force from the moment
//! it is issued, not from the moment the weather is expected, and until its hazard ends (`ends`), not until its text is to be
//! renewed (`expires`).

use std::collections::HashMap;

use serde::{Deserialize, Serialize};

use super::{Alert, AlertEvent, AlertLevel};
use crate::time::Instant;

/// One entry of a list, as far as it decides anything.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AlertWord {
    pub id: String,
    pub event: String,
    pub status: String,
    pub message_type: String,
    pub sent: Instant,
    pub expires: Option<Instant>,
    pub ends: Option<Instant>,
    /// Ids of the entries that this one takes the place of.
    pub references: Vec<String>,
    /// Valid Time Event Codes, such as `/O.CON.KMLB.FA.A.0003.260618T1600Z-260620T0000Z/`.
    pub codes: Vec<String>,
}

/// What an alert in force means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum Meaning {
    /// One of those that laws name; whether it bars is the rule's to say.
    Named(Alert),
    /// Known, and a reason to look twice.
    Care,
    /// Not known by name: somebody must read it.
    UnknownCare,
    /// Kept as evidence; another rule decides, such as the one on heat.
    Noted,
}

/// Why an entry of the list does not count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dropped {
    /// A test or an exercise.
    NotActual,
    Cancelled,
    /// Another entry has taken its place.
    Superseded,
    Ended(Instant),
}

/// The words of the Common Alerting Protocol 1.2 (section 3.2.1, `status`) for what is not meant in earnest. A word that is none
/// of the protocol's does not make an exercise of a warning.
const NOT_ACTUAL: [&str; 4] = ["Exercise", "System", "Test", "Draft"];
/// The same for `msgType`: those that take the place of what they refer to.
const REPLACES: [&str; 2] = ["Update", "Cancel"];
/// So many entries that name one and the same are looked at. A place has a handful, and each that is not looked at leaves an
/// alert standing.
const NAMING: usize = 50;

/// What became of each entry, in the order of the list.
pub fn sort(words: &[AlertWord], now: Instant) -> Vec<Result<Meaning, Dropped>> {
    let later = Later::of(words);
    words.iter().map(|word| fate(word, &later, now)).collect()
}

/// What tells an event apart: office, phenomenon, significance, number.
type Event<'w> = [&'w str; 4];

/// What entries say of others, gathered once: comparing each with each takes time that grows with the square of a long list.
#[derive(Default)]
struct Later<'w> {
    /// When an event was spoken of last.
    spoken: HashMap<Event<'w>, Instant>,
    /// Those that take the place of an entry, by its id.
    naming: HashMap<&'w str, Vec<&'w AlertWord>>,
}

impl<'w> Later<'w> {
    fn of(words: &'w [AlertWord]) -> Self {
        let mut later = Self::default();
        for word in words.iter().filter(|word| word.status == "Actual") {
            for event in word.codes.iter().filter_map(|code| event(code)) {
                let latest = later.spoken.entry(event).or_insert(word.sent);
                *latest = word.sent.max(*latest);
            }
            for named in word.references.iter().filter(|_| REPLACES.contains(&word.message_type.as_str())) {
                let naming = later.naming.entry(named).or_default();
                if naming.len() < NAMING {
                    naming.push(word);
                }
            }
        }
        later
    }

    /// References are not complete, so the event's own code tells its latest word as well.
    fn speaks_after(&self, sent: Instant, event: &Event<'_>) -> bool {
        self.spoken.get(event).is_some_and(|latest| *latest > sent)
    }

    fn replaces(&self, word: &AlertWord) -> bool {
        let naming = self.naming.get(word.id.as_str()).into_iter().flatten();
        // What takes the place of an entry was not sent before it: two that name each other must not both go.
        let mut after = naming.filter(|other| (other.sent, &other.id) > (word.sent, &word.id));
        after.any(|other| same_hazard(word, other))
    }
}

/// Whether two entries speak of the same hazard: each event of the first is one of the second's. Without codes, the name tells.
fn same_hazard(word: &AlertWord, other: &AlertWord) -> bool {
    let events =
        |word: &'_ AlertWord| word.codes.iter().filter_map(|code| event(code).map(|e| e.join("."))).collect::<Vec<_>>();
    let (of_word, of_other) = (events(word), events(other));
    if of_word.is_empty() || of_other.is_empty() {
        return word.event.trim().eq_ignore_ascii_case(other.event.trim());
    }
    of_word.iter().all(|event| of_other.contains(event))
}

fn fate(word: &AlertWord, later: &Later<'_>, now: Instant) -> Result<Meaning, Dropped> {
    if NOT_ACTUAL.contains(&word.status.as_str()) {
        return Err(Dropped::NotActual);
    }
    if word.message_type == "Cancel" {
        return Err(Dropped::Cancelled);
    }
    // An entry may speak of several events, and a later word on one of them says nothing of the others.
    let live: Vec<_> = word.codes.iter().filter(|code| !is_over(code)).filter_map(|code| event(code)).collect();
    let all_later = !live.is_empty() && live.iter().all(|event| later.speaks_after(word.sent, event));
    if all_later || later.replaces(word) {
        return Err(Dropped::Superseded);
    }
    if let Some(finish) = finish(word).filter(|finish| *finish <= now) {
        return Err(Dropped::Ended(finish));
    }
    if !word.codes.is_empty() && word.codes.iter().all(|code| is_over(code)) {
        return Err(Dropped::Cancelled);
    }
    Ok(meaning(word))
}

/// When an alert ends; nothing says "until further notice". What ends before it was sent has no end that can be believed.
pub fn finish(word: &AlertWord) -> Option<Instant> {
    word.ends.or(word.expires).filter(|finish| *finish > word.sent)
}

/// A part of a code: product class, action, office, phenomenon, significance, number, times.
fn part(code: &str, at: usize) -> Option<&str> {
    code.trim_matches('/').split('.').nth(at)
}

/// Whether a code's action ends its event.
fn is_over(code: &str) -> bool {
    matches!(part(code, 1), Some("CAN" | "EXP"))
}

fn event(code: &str) -> Option<Event<'_>> {
    Some([part(code, 2)?, part(code, 3)?, part(code, 4)?, part(code, 5)?])
}

/// By its name, and independently by its code: names change. Either match counts.
fn meaning(word: &AlertWord) -> Meaning {
    let by_code = word.codes.iter().find_map(|code| named(part(code, 3)?, part(code, 4)?));
    if let Some(alert) = by_name(&word.event).or(by_code) {
        return Meaning::Named(alert);
    }
    let event = word.event.trim().to_lowercase();
    if CARE.contains(&event.as_str()) {
        return Meaning::Care;
    }
    // An emergency, an evacuation, a warning of something new: unknown is never "go".
    if NOTED.contains(&event.as_str()) { Meaning::Noted } else { Meaning::UnknownCare }
}

fn by_name(event: &str) -> Option<Alert> {
    let event = event.trim().to_lowercase();
    let (what, level) = event.rsplit_once(' ')?;
    let level = match level {
        "watch" => AlertLevel::Watch,
        "warning" => AlertLevel::Warning,
        _ => return None,
    };
    let event = match what {
        "severe thunderstorm" => AlertEvent::SevereThunderstorm,
        // An ordinance that says "flood watch or warning" means the flash too: the strict reading.
        "flood" | "flash flood" => AlertEvent::Flood,
        "tropical storm" => AlertEvent::TropicalStorm,
        "hurricane" | "typhoon" => AlertEvent::Hurricane,
        _ => return None,
    };
    Some(Alert { event, level })
}

/// By phenomenon and significance of the code.
fn named(phenomenon: &str, significance: &str) -> Option<Alert> {
    let level = match significance {
        "A" => AlertLevel::Watch,
        "W" => AlertLevel::Warning,
        _ => return None,
    };
    let event = match phenomenon {
        "SV" => AlertEvent::SevereThunderstorm,
        "FA" | "FL" | "FF" => AlertEvent::Flood,
        "TR" => AlertEvent::TropicalStorm,
        "HU" | "TY" => AlertEvent::Hurricane,
        _ => return None,
    };
    Some(Alert { event, level })
}

/// Known names that ask for care. *Common practice.*
const CARE: [&str; 30] = [
    "storm surge watch",
    "storm surge warning",
    "coastal flood watch",
    "coastal flood warning",
    "coastal flood advisory",
    "lakeshore flood watch",
    "lakeshore flood warning",
    "flood advisory",
    "flood statement",
    "flash flood statement",
    "hydrologic outlook",
    "tropical cyclone local statement",
    "tropical storm local statement",
    "hurricane local statement",
    "tornado watch",
    "tornado warning",
    "freeze watch",
    "freeze warning",
    "frost advisory",
    "winter storm watch",
    "winter storm warning",
    "winter weather advisory",
    "ice storm warning",
    "blizzard warning",
    "wind advisory",
    "high wind watch",
    "high wind warning",
    "severe weather statement",
    "special weather statement",
    "extreme wind warning",
];

/// Known names that another rule decides, or that speak of nothing that touches work on a lawn. *Common practice.*
const NOTED: [&str; 20] = [
    "extreme heat watch",
    "extreme heat warning",
    "excessive heat watch",
    "excessive heat warning",
    "heat advisory",
    "air quality alert",
    "air stagnation advisory",
    "dense fog advisory",
    "administrative message",
    "short term forecast",
    "rip current statement",
    "beach hazards statement",
    "high surf advisory",
    "small craft advisory",
    "marine weather statement",
    "low water advisory",
    "gale watch",
    "gale warning",
    "special marine warning",
    "hazardous seas warning",
];

#[cfg(test)]
mod tests {
    use super::*;

    fn instant(text: &str) -> Instant {
        Instant::parse(text).expect("an instant")
    }

    fn word(id: &str, event: &str) -> AlertWord {
        AlertWord {
            id: id.to_owned(),
            event: event.to_owned(),
            status: "Actual".to_owned(),
            message_type: "Alert".to_owned(),
            sent: instant("2026-06-18T12:00:00Z"),
            expires: Some(instant("2026-06-18T20:00:00Z")),
            ends: None,
            references: Vec::new(),
            codes: Vec::new(),
        }
    }

    fn now() -> Instant {
        instant("2026-06-18T14:20:00Z")
    }

    #[test]
    fn the_hazard_ends_when_it_ends_and_not_when_its_text_is_renewed() {
        let mut alert = word("a", "Flood Watch");
        alert.expires = Some(instant("2026-06-18T14:00:00Z"));
        assert_eq!(sort(&[alert.clone()], now()), [Err(Dropped::Ended(instant("2026-06-18T14:00:00Z")))]);
        alert.ends = Some(instant("2026-06-19T00:00:00Z"));
        let flood = Alert { event: AlertEvent::Flood, level: AlertLevel::Watch };
        assert_eq!(sort(&[alert.clone()], now()), [Ok(Meaning::Named(flood))]);
        (alert.ends, alert.expires) = (None, None);
        assert_eq!(sort(&[alert], now()), [Ok(Meaning::Named(flood))], "until further notice");
    }

    #[test]
    fn an_end_is_half_open() {
        let mut alert = word("a", "Flood Warning");
        alert.ends = Some(now());
        assert_eq!(sort(&[alert], now()), [Err(Dropped::Ended(now()))]);
    }

    #[test]
    fn the_latest_word_on_an_event_is_known_by_its_code_without_a_reference() {
        let mut first = word("a", "Flood Watch");
        first.codes = vec!["/O.NEW.KMLB.FA.A.0003.260618T1600Z-260620T0000Z/".to_owned()];
        let mut ended = word("b", "Flood Watch");
        ended.sent = instant("2026-06-18T13:00:00Z");
        ended.codes = vec!["/O.CAN.KMLB.FA.A.0003.000000T0000Z-260620T0000Z/".to_owned()];
        assert_eq!(sort(&[first.clone(), ended], now()), [Err(Dropped::Superseded), Err(Dropped::Cancelled)]);
        let mut other = word("c", "Flood Watch");
        other.sent = instant("2026-06-18T13:00:00Z");
        other.codes = vec!["/O.NEW.KMLB.FA.A.0004.260618T1600Z-260620T0000Z/".to_owned()];
        assert!(sort(&[first, other], now()).iter().all(Result::is_ok), "another event of the same kind");
    }

    /// One entry calls a tropical storm watch off and issues a hurricane watch; a later entry, for the next zone of the county,
    /// goes on with the tropical storm watch alone. The hurricane watch stands.
    #[test]
    fn a_later_word_on_one_event_leaves_the_others_of_an_entry_standing() {
        let mut raised = word("a", "Hurricane Watch");
        raised.codes = vec![
            "/O.CAN.KMLB.TR.A.1005.000000T0000Z-000000T0000Z/".to_owned(),
            "/O.NEW.KMLB.HU.A.1005.260618T1200Z-000000T0000Z/".to_owned(),
        ];
        let mut other = word("b", "Tropical Storm Watch");
        other.sent = instant("2026-06-18T13:00:00Z");
        other.codes = vec!["/O.CON.KMLB.TR.A.1005.000000T0000Z-000000T0000Z/".to_owned()];
        let named = |event| Ok(Meaning::Named(Alert { event, level: AlertLevel::Watch }));
        let fates = sort(&[raised.clone(), other.clone()], now());
        assert_eq!(fates, [named(AlertEvent::Hurricane), named(AlertEvent::TropicalStorm)]);
        let mut both = raised.clone();
        both.codes[0] = "/O.NEW.KMLB.TR.A.1005.260618T1200Z-000000T0000Z/".to_owned();
        assert_eq!(sort(&[both, other.clone()], now())[0], named(AlertEvent::Hurricane), "one of two that it issued");
        other.codes.push("/O.CON.KMLB.HU.A.1005.000000T0000Z-000000T0000Z/".to_owned());
        assert_eq!(sort(&[raised, other], now())[0], Err(Dropped::Superseded));
    }

    #[test]
    fn two_entries_that_name_each_other_do_not_both_go() {
        let (mut a, mut b) = (word("a", "Flood Watch"), word("b", "Flood Watch"));
        (a.references, b.references) = (vec!["b".to_owned()], vec!["a".to_owned()]);
        (a.message_type, b.message_type) = ("Update".to_owned(), "Update".to_owned());
        assert_eq!(sort(&[a.clone(), b.clone()], now()).iter().filter(|fate| fate.is_ok()).count(), 1);
        a.sent = instant("2026-06-18T13:00:00Z");
        assert_eq!(sort(&[a, b], now())[1], Err(Dropped::Superseded));
    }

    #[test]
    fn a_test_message_ends_nothing() {
        let first = word("a", "Flood Watch");
        let mut test = word("b", "Test Message");
        test.status = "Test".to_owned();
        test.references = vec!["a".to_owned()];
        assert_eq!(sort(&[first, test], now()).iter().filter(|fate| fate.is_ok()).count(), 1);
    }

    #[test]
    fn names_change_and_codes_stay() {
        let mut renamed = word("a", "Inundation Notice");
        renamed.codes = vec!["/O.NEW.KMLB.FL.W.0011.260618T1340Z-000000T0000Z/".to_owned()];
        let flood = Alert { event: AlertEvent::Flood, level: AlertLevel::Warning };
        assert_eq!(sort(&[renamed], now()), [Ok(Meaning::Named(flood))]);
        assert_eq!(sort(&[word("b", "Flash Flood Warning")], now()), [Ok(Meaning::Named(flood))]);
        assert_eq!(sort(&[word("c", "Flood Advisory")], now()), [Ok(Meaning::Care)]);
        assert_eq!(sort(&[word("d", "Heavy Sample Rain Outlook")], now()), [Ok(Meaning::UnknownCare)]);
        assert_eq!(sort(&[word("e", "Dam Break Emergency")], now()), [Ok(Meaning::UnknownCare)]);
        assert_eq!(sort(&[word("f", "Heat Advisory")], now()), [Ok(Meaning::Noted)]);
    }
}
