//! Licences and certificates as decisions take them: what the person holds who puts the product down, and what has run out.

use domain::{
    application::{Purpose, is_valid_on},
    decision::{Finding, RuleSetUsed, Verdict, judge_certificate},
    equipment::Equipment,
    facts::{Facts, HeldCredential, KeptDistances, Supervision},
    law::Lawbook,
    product::Label,
    time::Day,
    weather::Weather,
};
use jiff::tz::TimeZone;

use crate::acts::{
    facts,
    rows::{CredentialRow, PersonRow, PropertyRow},
};

/// What a person holds, valid on the day or not.
pub fn held(person: &PersonRow) -> Vec<HeldCredential> {
    let held = |row: &CredentialRow| HeldCredential {
        code: row.code.clone(),
        rule_set: row.rule_set.clone(),
        valid_from: row.valid_from,
        valid_until: row.valid_until,
    };
    person.credentials.iter().map(held).collect()
}

/// What a check of that day would say of the certificate of whoever is to go there: for visits, stops and days that are planned.
pub fn of_stop(
    law: &Lawbook,
    property: &PropertyRow,
    (label, purpose): (&Label, Purpose),
    person: &PersonRow,
    on: Day,
) -> Vec<Finding> {
    let place = property.on(on);
    let facts = Facts {
        on,
        // No rule on certificates reads the hour, the machine or what was seen.
        at: on.starts_at(&TimeZone::UTC),
        audience: place.worked_by,
        site: property.site_on(on, &[]),
        credentials: held(person),
        supervision: Supervision::Unsaid,
        applicator_named: true,
        purpose,
        equipment: Equipment::RotarySpreader,
        label: label.clone(),
        weather: Weather::default(),
        service_asked: false,
        ground: None,
        pavement_cleaned: None,
        kept: KeptDistances::default(),
        lines: Vec::new(),
    };
    let (mut findings, rule_sets) = judge_certificate(law, &place.rule_sets, &facts);
    findings.extend(run_out(person, on, &rule_sets));
    findings
}

/// Says when the last credential of a person for a jurisdiction over the property is not valid on the day. It asks for care and
/// stops nothing: a rule that asks for the certificate says so itself.
pub fn run_out(person: &PersonRow, on: Day, over: &[RuleSetUsed]) -> Vec<Finding> {
    let told = over.iter().filter_map(|set| {
        let here = || person.credentials.iter().filter(|row| row.rule_set.as_ref() == Some(&set.code));
        if here().any(|row| is_valid_on(row.valid_from, row.valid_until, on)) {
            return None;
        }
        let last = here().max_by_key(|row| row.valid_from)?;
        let when = match last.valid_until.filter(|until| *until < on) {
            Some(until) => format!("ran out on {until}"),
            None => format!("is valid only from {} on", last.valid_from),
        };
        // Whose it is stands beside it, and not in it: a decision is kept for good, and names can be destroyed.
        let message = format!("{}: it {when}.", last.name);
        let hint = "Work only under the supervision of a certified person, where the law lets that be. A renewal is entered by the office.";
        Some(facts::book_finding("book.credential.valid", Verdict::Care, message, hint))
    });
    told.collect()
}
