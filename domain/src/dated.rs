//! Facts as of a day. What a thing is called, where it lies, what grows there: each change is an entry with the first day on
//! which it is so, and an entry that is wrong is followed by one that takes its place. Nothing is overwritten, so a past day is
//! answered with what stood then.

use std::collections::{HashMap, HashSet};

use serde::{Deserialize, Deserializer, de::DeserializeOwned};
use serde_json::{Map, Value};

use crate::time::Day;

/// Members of a thing, by name.
pub type Facts = Map<String, Value>;

/// What somebody entered about a thing.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct DatedEntry {
    /// In the order of entering.
    pub seq: i64,
    /// The first day on which it is so; nothing for the first entry of a thing, which holds for as long as anything is known.
    pub since: Option<Day>,
    /// The entry whose place this one takes.
    pub corrects: Option<i64>,
    /// What it says, and nothing of the rest.
    pub facts: Facts,
}

/// The entries about one thing that stand: those whose place no other took, by day and then in the order of entering. An entry
/// that took another's place stands in that one's order, as long as its day is the same.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct History {
    standing: Vec<DatedEntry>,
}

impl History {
    pub fn of(mut entries: Vec<DatedEntry>) -> Self {
        entries.sort_by_key(|entry| entry.seq);
        let corrected: HashSet<i64> = entries.iter().filter_map(|entry| entry.corrects).collect();
        let mut order: HashMap<i64, (Option<Day>, i64)> = HashMap::new();
        for entry in &entries {
            let taken = entry.corrects.and_then(|seq| order.get(&seq).copied());
            let first = taken.filter(|(since, _)| *since == entry.since).map_or(entry.seq, |(_, first)| first);
            order.insert(entry.seq, (entry.since, first));
        }
        let mut standing: Vec<DatedEntry> =
            entries.into_iter().filter(|entry| !corrected.contains(&entry.seq)).collect();
        standing.sort_by_key(|entry| (entry.since, order.get(&entry.seq).map(|(_, first)| *first)));
        Self { standing }
    }

    /// What stood on a day.
    pub fn on(&self, day: Day) -> Facts {
        laid_over(self.standing.iter().filter(|entry| entry.since <= Some(day)))
    }

    /// What stands now.
    pub fn present(&self) -> Facts {
        laid_over(self.standing.iter())
    }

    /// Every state of the thing, with named fields.
    pub fn stood<T: DeserializeOwned>(&self) -> Result<Stood<T>, serde_json::Error> {
        let read = |facts: Facts| serde_json::from_value(Value::Object(facts));
        let first = laid_over(self.standing.iter().filter(|entry| entry.since.is_none()));
        let later = self.days().into_iter().map(|day| Ok((day, read(self.on(day))?)));
        Ok(Stood { first: read(first)?, later: later.collect::<Result<_, serde_json::Error>>()? })
    }

    /// Days on which an entry begins, each once.
    pub fn days(&self) -> Vec<Day> {
        let mut days: Vec<Day> = self.standing.iter().filter_map(|entry| entry.since).collect();
        days.dedup();
        days
    }

    /// The first day after `day` from which on an entry says something of its own about one of these members.
    pub fn said_again_after(&self, day: Day, members: &Facts) -> Option<Day> {
        let says = |entry: &&DatedEntry| members.keys().any(|name| entry.facts.contains_key(name));
        self.standing.iter().filter(|entry| entry.since > Some(day)).find(says).and_then(|entry| entry.since)
    }

    /// Each value that a member had, with the first day of it; an entry that says the same again begins nothing.
    pub fn values_of(&self, name: &str) -> Vec<(Option<Day>, &Value)> {
        let mut values: Vec<(Option<Day>, &Value)> = Vec::new();
        for (since, value) in self.standing.iter().filter_map(|entry| Some((entry.since, entry.facts.get(name)?))) {
            // Of two entries of one day the later one stands alone.
            if values.last().is_some_and(|(last, _)| *last == since) {
                values.pop();
            }
            if values.last().is_none_or(|(_, last)| *last != value) {
                values.push((since, value));
            }
        }
        values
    }
}

/// What a thing was, state after state.
#[derive(Debug, Clone)]
pub struct Stood<T> {
    first: T,
    /// Each with its first day, in their order.
    later: Vec<(Day, T)>,
}

impl<T> Stood<T> {
    /// Of a thing that was never otherwise.
    pub fn always(state: T) -> Self {
        Self { first: state, later: Vec::new() }
    }

    pub fn on(&self, day: Day) -> &T {
        self.later.iter().rev().find(|(since, _)| *since <= day).map_or(&self.first, |(_, state)| state)
    }

    pub fn present(&self) -> &T {
        self.later.last().map_or(&self.first, |(_, state)| state)
    }

    /// The states that began later than a day.
    pub fn begun_after(&self, day: Day) -> impl Iterator<Item = &T> {
        self.later.iter().filter(move |(since, _)| *since > day).map(|(_, state)| state)
    }

    /// The states that began within a span, each with its first day.
    pub fn begun_within(&self, after: Day, until: Day) -> impl Iterator<Item = (Day, &T)> {
        self.later
            .iter()
            .filter(move |(since, _)| (after < *since) && (*since <= until))
            .map(|(since, state)| (*since, state))
    }
}

impl<'de, T: DeserializeOwned> Deserialize<'de> for Stood<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        History::deserialize(deserializer)?.stood().map_err(serde::de::Error::custom)
    }
}

fn laid_over<'a>(entries: impl Iterator<Item = &'a DatedEntry>) -> Facts {
    let said = entries.flat_map(|entry| entry.facts.iter());
    said.map(|(name, value)| (name.clone(), value.clone())).collect()
}

impl<'de> Deserialize<'de> for History {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Vec::deserialize(deserializer).map(Self::of)
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn day(text: &str) -> Day {
        Day::parse(text).unwrap()
    }

    /// Entries as the store gives them.
    fn history(entries: Value) -> History {
        serde_json::from_value(entries).unwrap()
    }

    fn told() -> History {
        history(json!([
            [1, null, null, { "species": "tall_fescue", "name": "front" }],
            [2, "2026-06-01", null, { "name": "front lawn" }],
            [3, "2026-05-01", null, { "species": "zoysia" }],
        ]))
    }

    #[test]
    fn a_day_is_answered_with_what_had_begun() {
        let told = told();
        assert_eq!(told.on(day("2026-04-30"))["species"], "tall_fescue");
        assert_eq!(told.on(day("2026-05-01"))["species"], "zoysia");
        assert_eq!(told.on(day("2026-05-31"))["name"], "front");
        assert_eq!(told.on(day("2026-06-01")), told.present());
        assert_eq!(told.present(), *json!({ "species": "zoysia", "name": "front lawn" }).as_object().unwrap());
        assert_eq!(told.days(), [day("2026-05-01"), day("2026-06-01")]);
    }

    #[test]
    fn each_state_is_read_with_named_fields() {
        #[derive(Deserialize)]
        struct Lawn {
            species: String,
        }
        let lawn: Stood<Lawn> = told().stood().unwrap();
        let species = |text| lawn.on(day(text)).species.as_str();
        assert_eq!(
            [species("2026-04-30"), species("2026-05-01"), species("2030-01-01")],
            ["tall_fescue", "zoysia", "zoysia"]
        );
        assert_eq!(lawn.present().species, "zoysia");
        let within: Vec<Day> =
            lawn.begun_within(day("2026-05-01"), day("2026-06-01")).map(|(since, _)| since).collect();
        assert_eq!(within, [day("2026-06-01")]);
        let unreadable = history(json!([[1, null, null, { "species": 7 }]]));
        assert!(unreadable.stood::<Lawn>().is_err());
    }

    #[test]
    fn an_entry_dated_too_early_is_followed_by_one_with_the_right_day() {
        let mended = history(json!([
            [1, null, null, { "species": "tall_fescue" }],
            [2, "2026-05-01", null, { "species": "zoysia" }],
            [3, "2026-07-01", 2, { "species": "zoysia" }],
        ]));
        assert_eq!(mended.on(day("2026-06-30"))["species"], "tall_fescue");
        assert_eq!(mended.on(day("2026-07-01"))["species"], "zoysia");
        assert_eq!(mended.values_of("species").len(), 2);
    }

    #[test]
    fn a_correction_of_a_correction_stands_alone_and_in_the_first_ones_order() {
        let mended = history(json!([
            [1, null, null, { "name": "a" }],
            [2, "2026-05-01", null, { "name": "b" }],
            [3, "2026-05-01", null, { "name": "c" }],
            [4, "2026-05-01", 2, { "name": "d" }],
            [5, "2026-05-01", 4, { "name": "e" }],
        ]));
        assert_eq!(mended.present()["name"], "c", "the later entry of the day was not corrected");
        assert_eq!(mended.standing.len(), 3);
    }

    #[test]
    fn what_a_later_entry_says_again_is_found_by_its_names() {
        let told = told();
        let member = |name: &str| Facts::from_iter([(name.to_owned(), Value::Null)]);
        assert_eq!(told.said_again_after(day("2026-03-01"), &member("species")), Some(day("2026-05-01")));
        assert_eq!(told.said_again_after(day("2026-05-01"), &member("species")), None);
        assert_eq!(told.said_again_after(day("2026-05-01"), &member("name")), Some(day("2026-06-01")));
    }

    #[test]
    fn a_value_said_again_begins_nothing() {
        let told = history(json!([
            [1, null, null, { "name": "a" }],
            [2, "2026-05-01", null, { "name": "b" }],
            [3, "2026-05-01", null, { "name": "a" }],
            [4, "2026-06-01", null, { "name": "b" }],
        ]));
        assert_eq!(told.values_of("name"), [(None, &json!("a")), (Some(day("2026-06-01")), &json!("b"))]);
    }
}
