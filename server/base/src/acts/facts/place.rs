//! Whether the law that is asked is that of the place.

use domain::{
    decision::{Finding, Verdict},
    law::{AppliesTo, Lawbook, Level, LocalRules, Preemption, RuleSet},
    time::Day,
};

use super::book_finding;
use crate::{acts::rows::PropertyFacts, places};

/// A year after somebody asked county and municipality, they are asked again: ordinances change. *Common practice.*
const ASKED_MONTHS: i32 = 12;

/// Whether it is the right law: the coordinates agree with what was confirmed, what this server has of the place was
/// confirmed, and where the state lets county and municipality have rules, somebody has asked them.
pub(super) fn right_law(property: &PropertyFacts, checked_on: Option<Day>, on: Day, law: &Lawbook) -> Vec<Finding> {
    let mut findings = Vec::new();
    let at = property.latitude.zip(property.longitude);
    if let Some(told) = at.and_then(|(north, east)| places::differs(north, east, &property.rule_sets)) {
        let hint = "The office corrects the coordinates or the rule sets.";
        findings.push(book_finding("book.place.agrees", Verdict::Care, told, hint));
    }
    let stacked: Vec<&RuleSet> =
        law.over(&property.rule_sets).iter().filter_map(|used| law.rule_set(&used.code)).collect();
    let confirmed = |code: &String| stacked.iter().any(|set| set.about.code == *code);
    // The county comes first, and its name may be a town's as well, which is none of the county's law.
    let codes = property.place.clone().unwrap_or_default();
    let county = codes.county.filter(|code| places::is_of_all(code, law));
    let named = county.iter().chain(&codes.municipality);
    for set in named.filter(|code| !confirmed(code)).filter_map(|code| law.rule_set(code)) {
        findings.push(book_finding(
            "book.place.confirmed",
            Verdict::Care,
            format!("The property lies in {}, whose rule set is not confirmed for it.", set.about.name),
            "The office confirms the rule set, or corrects where the property lies.",
        ));
    }
    let asked = checked_on.is_some_and(|day| day >= on.minus_months(ASKED_MONTHS));
    if let Some(state) = stacked.iter().find(|set| may_have_local_rules(set)).filter(|_| !asked) {
        let since = checked_on.map_or_else(
            || "nobody has asked them yet".to_owned(),
            |day| format!("they were last asked on {day}, more than a year before"),
        );
        let message =
            format!("In {} a county or a municipality may have rules of its own, and {since}.", state.about.name);
        let hint = "The office asks both, confirms the rule sets there are, and enters the day.";
        findings.push(book_finding("book.place.local_rules", Verdict::Care, message, hint));
    }
    findings
}

/// Whether a state leaves anything to its counties and towns: it bars nothing, or only some of their rules.
fn may_have_local_rules(set: &RuleSet) -> bool {
    let barred = |bar: &Preemption| bar.reach == AppliesTo::All && bar.older_than.is_none() && bar.except.is_empty();
    let whole = set.about.preempts_local.as_ref().is_some_and(barred);
    set.about.level == Level::State && !whole && set.about.local_rules != LocalRules::Absent
}
