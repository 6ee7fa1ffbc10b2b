//! Holds a value against a schema, as JSON Schema (draft 2020-12) has it, and finds everything that does not fit.

use std::cmp::Ordering;

use serde_json::{Map, Number, Value};

use super::{
    Schemas, escape,
    model::{Format, Others, Schema, Type},
};

/// What does not fit: where, and which keyword of which schema says so.
#[derive(Debug)]
pub(super) struct Finding<'s> {
    /// JSON Pointer into the value; for a missing or an unknown member that of the object.
    pub(super) at: String,
    pub(super) schema: &'s Schema,
    pub(super) kind: Kind<'s>,
}

#[derive(Debug)]
pub(super) enum Kind<'s> {
    Type {
        is_number: bool,
    },
    UnknownWord,
    Shape,
    TooShort(u64),
    TooLong(u64),
    TooSmall(&'s Number),
    TooLarge(&'s Number),
    TooFew(u64),
    TooMany(u64),
    Missing(&'s str),
    UnknownMember(String),
    /// None of several schemas, with what each of them finds.
    NoChoice {
        branches: Vec<Vec<Finding<'s>>>,
        is_null: bool,
    },
    /// More than one of several schemas, where it must be one.
    ManyChoices,
}

/// Everything in a value that does not fit. A schema that cannot be read is a fault of ours.
pub(super) fn findings<'s>(
    schemas: &'s Schemas,
    schema: &'s Schema,
    value: &Value,
) -> Result<Vec<Finding<'s>>, String> {
    let mut look = Look { schemas, findings: Vec::new() };
    look.value(schema, value, "")?;
    Ok(look.findings)
}

struct Look<'s> {
    schemas: &'s Schemas,
    findings: Vec<Finding<'s>>,
}

impl<'s> Look<'s> {
    fn found(&mut self, schema: &'s Schema, at: &str, kind: Kind<'s>) {
        self.findings.push(Finding { at: at.to_owned(), schema, kind });
    }

    fn value(&mut self, schema: &'s Schema, value: &Value, at: &str) -> Result<(), String> {
        let schema = self.schemas.resolve(schema)?;
        let is_word = schema.words.is_empty() || schema.words.contains(value);
        let is_typed = schema.types.is_empty() || schema.types.iter().any(|kind| kind.is_of(value));
        let of_any =
            [(!is_word).then_some(Kind::UnknownWord), (!is_typed).then(|| Kind::Type { is_number: value.is_number() })];
        let of_its_type = match value {
            Value::String(text) => of_text(schema, text),
            Value::Number(number) => of_number(schema, number),
            Value::Array(entries) => of_list(schema, entries),
            Value::Object(members) => {
                [None, None, of_length(schema.max_properties, None, || members.len())[0].map(Kind::TooMany)]
            }
            _ => [None, None, None],
        };
        for kind in of_any.into_iter().chain(of_its_type).flatten() {
            self.found(schema, at, kind);
        }
        match value {
            Value::Array(entries) => self.entries(schema, entries, at)?,
            Value::Object(members) => self.members(schema, members, at)?,
            _ => {}
        }
        if schema.one_of.is_empty() { Ok(()) } else { self.choose(schema, value, at) }
    }

    fn entries(&mut self, schema: &'s Schema, entries: &[Value], at: &str) -> Result<(), String> {
        let Some(items) = &schema.items else { return Ok(()) };
        entries.iter().enumerate().try_for_each(|(index, entry)| self.value(items, entry, &format!("{at}/{index}")))
    }

    fn members(&mut self, schema: &'s Schema, members: &Map<String, Value>, at: &str) -> Result<(), String> {
        for name in schema.required.iter().filter(|name| !members.contains_key(*name)) {
            self.found(schema, at, Kind::Missing(name));
        }
        for (name, member) in members {
            match (schema.properties.get(name), &schema.others) {
                (Some(property), _) => self.value(property, member, &format!("{at}/{}", escape(name)))?,
                (None, Others::Like(other)) => self.value(other, member, &format!("{at}/{}", escape(name)))?,
                (None, Others::Any(false)) => self.found(schema, at, Kind::UnknownMember(name.clone())),
                (None, Others::Any(true)) => {}
            }
        }
        Ok(())
    }

    fn choose(&mut self, schema: &'s Schema, value: &Value, at: &str) -> Result<(), String> {
        let mut branches = Vec::with_capacity(schema.one_of.len());
        for branch in &schema.one_of {
            let mut look = Look { schemas: self.schemas, findings: Vec::new() };
            look.value(branch, value, at)?;
            branches.push(look.findings);
        }
        let kind = match branches.iter().filter(|branch| branch.is_empty()).count() {
            1 => return Ok(()),
            0 => Kind::NoChoice { branches, is_null: value.is_null() },
            _ => Kind::ManyChoices,
        };
        self.found(schema, at, kind);
        Ok(())
    }
}

fn of_text<'s>(schema: &'s Schema, text: &str) -> [Option<Kind<'s>>; 3] {
    let is_shaped = schema.pattern.as_ref().is_none_or(|pattern| pattern.is_match(text))
        && schema.format.is_none_or(|format| fits(format, text));
    let [long, short] = of_length(schema.max_length, schema.min_length, || text.chars().count());
    [(!is_shaped).then_some(Kind::Shape), long.map(Kind::TooLong), short.map(Kind::TooShort)]
}

fn of_list<'s>(schema: &'s Schema, entries: &[Value]) -> [Option<Kind<'s>>; 3] {
    let [long, short] = of_length(schema.max_items, schema.min_items, || entries.len());
    [None, long.map(Kind::TooMany), short.map(Kind::TooFew)]
}

/// The bounds that a length breaks. It is not counted where nothing bounds it.
fn of_length(most: Option<u64>, least: Option<u64>, length: impl Fn() -> usize) -> [Option<u64>; 2] {
    if most.is_none() && least.is_none() {
        return [None, None];
    }
    let length = u64::try_from(length()).unwrap_or(u64::MAX);
    [most.filter(|most| length > *most), least.filter(|least| length < *least)]
}

fn of_number<'s>(schema: &'s Schema, number: &Number) -> [Option<Kind<'s>>; 3] {
    let beyond = |limit: &&Number, order| compare(number, limit) == Some(order);
    let most = schema.maximum.as_ref().filter(|most| beyond(most, Ordering::Greater));
    let least = schema.minimum.as_ref().filter(|least| beyond(least, Ordering::Less));
    [None, most.map(Kind::TooLarge), least.map(Kind::TooSmall)]
}

/// Whole numbers are compared as they are: a float would lose their last digits.
fn compare(a: &Number, b: &Number) -> Option<Ordering> {
    match (a.as_i128(), b.as_i128()) {
        (Some(a), Some(b)) => Some(a.cmp(&b)),
        _ => a.as_f64()?.partial_cmp(&b.as_f64()?),
    }
}

fn fits(format: Format, text: &str) -> bool {
    match format {
        Format::Uuid => text.len() == 36 && uuid::Uuid::try_parse(text).is_ok(),
        Format::Date => text.parse::<jiff::civil::Date>().is_ok(),
        Format::DateTime => text.parse::<jiff::Timestamp>().is_ok(),
        Format::IanaTimeZone => is_zone(text),
        Format::Int32 | Format::Int64 | Format::Double | Format::Binary => true,
    }
}

/// Only the zone's own spelling: the reader of zones takes any case, and phones may not.
fn is_zone(name: &str) -> bool {
    let known = domain::time::zone(name).ok();
    known.is_some_and(|zone| zone.iana_name() == Some(name) && !zone.is_unknown())
}

impl Finding<'_> {
    /// Whether "or nothing" is all that was wanted here.
    pub(super) fn wants_null(&self) -> bool {
        matches!(self.kind, Kind::Type { .. }) && self.schema.types == [Type::Null]
    }
}
