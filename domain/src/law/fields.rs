//! Reads one TOML table field by field, remembers every fault, and at the end names the fields nobody asked for.

use serde::de::DeserializeOwned;
use toml::{Table, Value};

use super::{fault::LawFault, names::names};
use crate::{
    quantity::{Quantity, Unit},
    time::Day,
};

/// A table that is being read.
pub(super) struct Fields<'t> {
    table: &'t Table,
    asked: Vec<&'static str>,
    file: &'t str,
    rule: Option<&'t str>,
    pub(super) faults: Vec<LawFault>,
}

impl<'t> Fields<'t> {
    pub(super) fn new(table: &'t Table, file: &'t str, rule: Option<&'t str>) -> Self {
        Self { table, asked: Vec::new(), file, rule, faults: Vec::new() }
    }

    /// The fields asked for so far.
    #[cfg(test)]
    pub(super) fn asked(&self) -> &[&'static str] {
        &self.asked
    }

    pub(super) fn fault(&mut self, field: &str, what: impl Into<String>) {
        self.faults.push(LawFault {
            file: self.file.to_owned(),
            rule: self.rule.map(str::to_owned),
            field: field.to_owned(),
            what: what.into(),
        });
    }

    fn get(&mut self, field: &'static str) -> Option<&'t Value> {
        self.asked.push(field);
        self.table.get(field)
    }

    /// Says that a field which is not there had to be.
    fn required<T>(&mut self, field: &'static str, found: Option<T>, about: &str) -> Option<T> {
        if found.is_none() && !self.table.contains_key(field) {
            self.fault(field, format!("is missing: {about}"));
        }
        found
    }

    pub(super) fn has(&self, field: &str) -> bool {
        self.table.contains_key(field)
    }

    pub(super) fn text(&mut self, field: &'static str, longest: usize) -> Option<&'t str> {
        match self.get(field)? {
            Value::String(text) if text.trim().is_empty() => {
                self.fault(field, "is empty");
                None
            }
            Value::String(text) if text.chars().count() > longest => {
                self.fault(field, format!("is longer than {longest} characters"));
                None
            }
            Value::String(text) => Some(text),
            other => {
                self.fault(field, format!("must be text, not {}", other.type_str()));
                None
            }
        }
    }

    pub(super) fn required_text(&mut self, field: &'static str, longest: usize, about: &str) -> Option<&'t str> {
        let found = self.text(field, longest);
        self.required(field, found, about)
    }

    pub(super) fn flag(&mut self, field: &'static str) -> Option<bool> {
        match self.get(field)? {
            Value::Boolean(flag) => Some(*flag),
            other => {
                self.fault(field, format!("must be true or false, not {}", other.type_str()));
                None
            }
        }
    }

    /// A whole number above zero.
    pub(super) fn count(&mut self, field: &'static str) -> Option<u16> {
        let value = self.get(field)?;
        let count = value.as_integer().and_then(|number| u16::try_from(number).ok()).filter(|count| *count > 0);
        if count.is_none() {
            self.fault(field, "must be a whole number from 1 to 65535");
        }
        count
    }

    pub(super) fn required_count(&mut self, field: &'static str, about: &str) -> Option<u16> {
        let found = self.count(field);
        self.required(field, found, about)
    }

    pub(super) fn day(&mut self, field: &'static str, about: &str) -> Option<Day> {
        let found = self.optional_day(field);
        self.required(field, found, about)
    }

    pub(super) fn optional_day(&mut self, field: &'static str) -> Option<Day> {
        let value = self.get(field)?;
        let day = value.as_datetime().and_then(|written| Day::parse(&written.to_string()).ok());
        if day.is_none() {
            self.fault(field, "must be a day such as 2026-11-25, without quotes");
        }
        day
    }

    /// An amount, written as decimal text so that no float ever touches it.
    pub(super) fn amount<U: Unit>(&mut self, field: &'static str) -> Option<Quantity<U>> {
        let Value::String(text) = self.get(field)? else {
            self.fault(field, "must be decimal text in quotes, such as \"0.7\"");
            return None;
        };
        self.parsed(field, text)
    }

    pub(super) fn required_amount<U: Unit>(&mut self, field: &'static str, about: &str) -> Option<Quantity<U>> {
        let found = self.amount(field);
        self.required(field, found, about)
    }

    /// Reads `12-16`. Every month may end on the 31st but those that cannot; February may end on the 29th.
    pub(super) fn month_day(&mut self, field: &'static str, about: &str) -> Option<(i8, i8)> {
        let text = self.required_text(field, 5, about)?;
        let read = text.split_once('-').and_then(|(month, day)| {
            let two = |part: &str| part.len() == 2 && part.bytes().all(|b| b.is_ascii_digit());
            let (month, day) = (two(month).then_some(month)?, two(day).then_some(day)?);
            let (month, day): (i8, i8) = (month.parse().ok()?, day.parse().ok()?);
            // 2024 had every day a year can have.
            Day::new(2024, month, day).ok().map(|_| (month, day))
        });
        if read.is_none() {
            self.fault(field, "must be a month and a day such as \"12-16\"");
        }
        read
    }

    pub(super) fn parsed<U: Unit>(&mut self, field: &str, text: &str) -> Option<Quantity<U>> {
        Quantity::parse(text).map_err(|fault| self.fault(field, fault.to_string())).ok()
    }

    /// One word of a closed list.
    pub(super) fn word<T: DeserializeOwned>(&mut self, field: &'static str) -> Option<T> {
        let value = self.get(field)?;
        let said = |fault: toml::de::Error| match (value.as_str(), names::<T>()) {
            (Some(word), [_, ..]) => format!("`{word}` is not known; write one of {}", names::<T>().join(", ")),
            _ => first_line(&fault),
        };
        value.clone().try_into().map_err(|fault| self.fault(field, said(fault))).ok()
    }

    pub(super) fn required_word<T: DeserializeOwned>(&mut self, field: &'static str, about: &str) -> Option<T> {
        let found = self.word(field);
        self.required(field, found, about)
    }

    /// Words of a closed list; a list that is written must not be empty.
    pub(super) fn words<T: DeserializeOwned>(&mut self, field: &'static str) -> Option<Vec<T>> {
        let words: Option<Vec<T>> = self.word(field);
        if words.as_ref().is_some_and(Vec::is_empty) {
            self.fault(field, "is an empty list; name something in it");
        }
        words
    }

    pub(super) fn required_words<T: DeserializeOwned>(&mut self, field: &'static str, about: &str) -> Option<Vec<T>> {
        let found = self.words(field);
        self.required(field, found, about)
    }

    pub(super) fn table(&mut self, field: &'static str) -> Option<&'t Table> {
        match self.get(field)? {
            Value::Table(table) => Some(table),
            other => {
                self.fault(field, format!("must be a table, not {}", other.type_str()));
                None
            }
        }
    }

    pub(super) fn tables(&mut self, field: &'static str) -> Vec<&'t Table> {
        match self.get(field) {
            None => Vec::new(),
            Some(Value::Array(items)) if items.iter().all(Value::is_table) => {
                items.iter().filter_map(Value::as_table).collect()
            }
            Some(_) => {
                self.fault(field, "must be a list of tables");
                Vec::new()
            }
        }
    }

    /// Takes over the faults of a table inside a field.
    pub(super) fn take_faults(&mut self, field: &str, inner: Vec<LawFault>) {
        for fault in inner {
            self.fault(field, format!("`{}` {}", fault.field, fault.what));
        }
    }

    /// The faults met, and one for each field that does not belong.
    pub(super) fn finish(mut self, of: &str) -> Vec<LawFault> {
        let strangers: Vec<String> =
            self.table.keys().filter(|key| !self.asked.contains(&key.as_str())).cloned().collect();
        for stranger in strangers {
            self.fault(&stranger, format!("does not belong to {of}"));
        }
        self.faults
    }
}

fn first_line(fault: &impl ToString) -> String {
    fault.to_string().lines().next().unwrap_or_default().to_owned()
}
