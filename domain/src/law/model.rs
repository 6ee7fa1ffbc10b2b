//! A rule as the rules read it: typed, dated and cited.

use super::{
    about::RuleSetAbout,
    duty::Duty,
    kind::{BoundParty, RuleKind},
    mark::Mark,
    scope::Scope,
};
use crate::{
    application::{Audience, Purpose},
    land::PropertyKind,
    product::Label,
    time::Day,
};

/// Where a value stands written, and how it was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    pub citation: String,
    pub href: Option<String>,
    pub mark: Mark,
    /// Rows of the reading notes that it comes from.
    pub rows: Vec<String>,
}

/// What holds from a day on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Value {
    pub from: Day,
    /// The source shows that the duty began on this day, so that before it there was none.
    pub starts: bool,
    /// Nothing when the rule is repealed from this day on.
    pub duty: Option<Duty>,
    pub source: Source,
}

/// One rule through time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rule {
    pub id: String,
    pub kind: RuleKind,
    pub binds: BoundParty,
    pub audience: Vec<Audience>,
    /// Recommended, not binding: it can only warn.
    pub advice: bool,
    pub scope: Scope,
    /// Whoever holds this credential on the day of application is not bound.
    pub unless_credential: Option<String>,
    /// The kinds of ground that it is about; empty for all.
    pub only_kinds: Vec<PropertyKind>,
    /// By day, the earliest first; never empty.
    pub values: Vec<Value>,
}

/// The four answers to "what does this rule say on that day".
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum InForceStatus<'r> {
    InForce(&'r Value, &'r Duty),
    Repealed(&'r Value),
    /// The duty began later.
    NotYet(&'r Value),
    /// The oldest text that was read is of a later day; nothing says what held before it.
    Unknown(&'r Value),
}

impl Rule {
    /// What holds on a day; nothing for a rule without values, which the loader refuses.
    pub fn on(&self, day: Day) -> Option<InForceStatus<'_>> {
        let standing = match self.values.iter().rfind(|value| value.from <= day) {
            Some(value) => match &value.duty {
                Some(duty) => InForceStatus::InForce(value, duty),
                None => InForceStatus::Repealed(value),
            },
            None => match self.values.first()? {
                first if first.starts => InForceStatus::NotYet(first),
                first => InForceStatus::Unknown(first),
            },
        };
        Some(standing)
    }

    /// Whether the rule binds somebody who puts a product down for a purpose. What it says on a day may still not concern the
    /// product, which the duty knows.
    pub fn binds_work(&self, audience: Audience, label: &Label, purpose: Purpose) -> bool {
        self.binds == BoundParty::Applicator && self.binds_audience(audience) && self.scope.covers(label, purpose)
    }

    /// Whether the rule is for somebody. Work on own ground is not for hire: what binds everybody else binds it too.
    pub fn binds_audience(&self, audience: Audience) -> bool {
        let others = audience == Audience::OwnGround && self.audience.contains(&Audience::Household);
        self.audience.contains(&audience) || others
    }

    /// Whether a broken value of this rule may refuse, or only warn.
    pub fn may_refuse(&self, value: &Value) -> bool {
        !self.advice && value.source.mark != Mark::Memory
    }
}

/// One file of law.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RuleSet {
    pub about: RuleSetAbout,
    /// The file word for word: what the hash was taken of.
    pub text: String,
    pub rules: Vec<Rule>,
}
