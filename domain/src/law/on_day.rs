//! The rules as people read them: what each says on a day, in one sentence with its numbers.

use serde::{Deserialize, Serialize};

use super::{
    RuleSet,
    duty::MonthDay,
    model::{Binds, Kind, Rule, Standing},
};
use crate::{
    application::{Audience, Purpose},
    decision::Mark,
    time::Day,
};

/// The four answers to "does this rule hold on that day".
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum InForce {
    InForce,
    Repealed,
    /// The duty began later.
    NotYet,
    /// No text was read for that day.
    Unknown,
}

/// What one rule says on one day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct RuleOnDay {
    #[schema(max_length = 120, example = "us-pa.nitrogen.quick.application")]
    pub rule: String,
    #[schema(max_length = 60, example = "us-pa")]
    pub rule_set: String,
    pub kind: Kind,
    pub binds: Binds,
    #[schema(max_items = 2)]
    pub audience: Vec<Audience>,
    /// Recommended only: it warns and never refuses.
    pub advice: bool,
    pub in_force: InForce,
    /// Why its set only warns here, or counts for some products only.
    #[schema(max_length = 400)]
    pub note: Option<String>,
    /// The duty in one plain sentence.
    #[schema(max_length = 600)]
    pub words: String,
    /// First day of this answer, if that is known.
    pub since: Option<Day>,
    /// Last day of this answer, if a later one is written.
    pub until: Option<Day>,
    #[schema(max_length = 400)]
    pub citation: String,
    #[schema(max_length = 600)]
    pub href: Option<String>,
    pub mark: Mark,
    /// Rows of the reading notes.
    #[schema(max_items = 20, value_type = Vec<super::RowId>)]
    pub rows: Vec<String>,
}

pub(super) fn rules(set: &RuleSet, day: Day) -> impl Iterator<Item = RuleOnDay> {
    set.rules.iter().filter_map(move |rule| self::rule(set, rule, day))
}

pub(super) fn rule(set: &RuleSet, rule: &Rule, day: Day) -> Option<RuleOnDay> {
    Some(on_day(&set.about.code, rule, rule.on(day)?, day))
}

fn on_day(set: &str, rule: &Rule, standing: Standing<'_>, day: Day) -> RuleOnDay {
    let (value, in_force, since, words) = match standing {
        Standing::InForce(value, duty) => (
            value,
            InForce::InForce,
            Some(value.from),
            limited(&format!("{}{}{}{}.", bound(rule), duty.words(), rule.scope.words(), unless(rule)), 600),
        ),
        Standing::Repealed(value) => {
            (value, InForce::Repealed, Some(value.from), format!("Repealed from {} on.", value.from))
        }
        Standing::NotYet(value) => (value, InForce::NotYet, None, format!("Begins on {}.", value.from)),
        Standing::Unknown(value) => {
            (value, InForce::Unknown, None, format!("The oldest text that was read is of {}.", value.from))
        }
    };
    let later = rule.values.iter().find(|value| value.from > day);
    RuleOnDay {
        rule: rule.id.clone(),
        rule_set: set.to_owned(),
        kind: rule.kind,
        binds: rule.binds,
        audience: rule.audience.clone(),
        advice: rule.advice,
        in_force,
        note: None,
        words,
        since,
        until: later.map(|value| value.from.plus_days(-1)),
        citation: value.source.citation.clone(),
        href: value.source.href.clone(),
        mark: value.source.mark,
        rows: value.source.rows.clone(),
    }
}

/// Whom the sentence is about, where that is not the applicator.
const fn bound(rule: &Rule) -> &'static str {
    match rule.binds {
        Binds::Applicator => "",
        Binds::Label => "On the label: ",
        Binds::Seller => "For sellers: ",
    }
}

fn unless(rule: &Rule) -> String {
    rule.unless_credential.as_ref().map_or_else(String::new, |code| format!(", unless the applicator holds `{code}`"))
}

/// Cuts a text so that it keeps to its longest length.
pub(crate) fn limited(text: &str, longest: usize) -> String {
    if text.chars().count() <= longest {
        return text.to_owned();
    }
    text.chars().take(longest.saturating_sub(1)).chain(['\u{2026}']).collect()
}

/// `a`, `a and b`, `a, b and c`.
pub(crate) fn list<T>(items: &[T], words: impl Fn(&T) -> String, last: &str) -> String {
    let words: Vec<String> = items.iter().map(words).collect();
    match words.split_last() {
        None => String::new(),
        Some((only, [])) => only.clone(),
        Some((end, rest)) => format!("{} {last} {end}", rest.join(", ")),
    }
}

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// `December 16`. February 29 is the last day of February in every year.
pub(crate) fn month_day((month, day): MonthDay) -> String {
    if (month, day) == (2, 29) {
        return "the end of February".to_owned();
    }
    let name = usize::try_from(month).ok().and_then(|month| MONTHS.get(month.wrapping_sub(1))).unwrap_or(&"");
    format!("{name} {day}")
}

pub(crate) const fn purpose(purpose: Purpose) -> &'static str {
    match purpose {
        Purpose::Maintenance => "feeding an established lawn",
        Purpose::Establishment => "first establishment",
        Purpose::Repair => "repair of turf",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_cut_only_when_it_is_too_long() {
        assert_eq!(limited("abcd", 4), "abcd");
        assert_eq!(limited("abcde", 4), "abc\u{2026}");
    }

    #[test]
    fn a_list_reads_like_one() {
        let words = |items: &[&str]| list(items, |item| (*item).to_owned(), "or");
        assert_eq!(
            [words(&[]), words(&["a"]), words(&["a", "b"]), words(&["a", "b", "c"])],
            ["", "a", "a or b", "a, b or c"]
        );
    }
}
