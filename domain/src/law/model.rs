//! A rule as the rules read it: typed, dated and cited.

use serde::{Deserialize, Serialize};

use super::duty::Duty;
use crate::{
    application::{Audience, Purpose},
    decision::Mark,
    product::{Label, ProductForm},
    quantity::Percent,
    time::Day,
};

/// The closed list of duties. Each that judges an application has one file under `rules`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    CapApplication,
    CapYear,
    Window,
    PhosphorusNeed,
    SoilReportBefore,
    Setback,
    Ground,
    Rain,
    Alerts,
    Heat,
    SlowShare,
    HoldAfterSeeding,
    Surface,
    Release,
    Interval,
    CountYear,
    RecordFields,
    RecordDeadline,
    Retention,
    Credential,
    Notice,
    Report,
    Plan,
    Conduct,
    Meaning,
    Penalty,
}

impl Kind {
    /// Every kind, judging ones first.
    pub const ALL: [Self; 26] = [
        Self::CapApplication,
        Self::CapYear,
        Self::Window,
        Self::PhosphorusNeed,
        Self::SoilReportBefore,
        Self::Setback,
        Self::Ground,
        Self::Rain,
        Self::Alerts,
        Self::Heat,
        Self::SlowShare,
        Self::HoldAfterSeeding,
        Self::Surface,
        Self::Release,
        Self::Interval,
        Self::CountYear,
        Self::RecordFields,
        Self::RecordDeadline,
        Self::Retention,
        Self::Credential,
        Self::Notice,
        Self::Report,
        Self::Plan,
        Self::Conduct,
        Self::Meaning,
        Self::Penalty,
    ];

    /// Whether a rule of this kind judges an application. The others are duties that are told.
    pub const fn judges(self) -> bool {
        !matches!(
            self,
            Self::RecordFields
                | Self::RecordDeadline
                | Self::Retention
                | Self::Credential
                | Self::Notice
                | Self::Report
                | Self::Plan
                | Self::Conduct
                | Self::Meaning
                | Self::Penalty
        )
    }
}

/// Whom a rule binds. Only what binds the applicator judges an application; a label's or a seller's duty is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Binds {
    Applicator,
    Label,
    Seller,
}

/// How a number compares: statutes say "not more than" and "less than", and mean it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Comparator {
    AtMost,
    LessThan,
    AtLeast,
    MoreThan,
}

impl Comparator {
    pub const fn words(self) -> &'static str {
        match self {
            Self::AtMost => "at most",
            Self::LessThan => "less than",
            Self::AtLeast => "at least",
            Self::MoreThan => "more than",
        }
    }

    /// Whether a value so ordered to the number satisfies the comparison.
    pub const fn holds(self, order: std::cmp::Ordering) -> bool {
        match self {
            Self::AtMost => order.is_le(),
            Self::LessThan => order.is_lt(),
            Self::AtLeast => order.is_ge(),
            Self::MoreThan => order.is_gt(),
        }
    }
}

/// Which products and purposes a rule is about; what is not named does not matter.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Scope {
    pub forms: Vec<ProductForm>,
    pub purposes: Vec<Purpose>,
    pub enhanced_efficiency: Option<bool>,
    pub organic: Option<bool>,
    pub labelled_for_establishment: Option<bool>,
    pub compost: Option<bool>,
    /// Products whose nitrogen is slow-release to at least this share.
    pub slow_share_at_least: Option<Percent>,
    /// Products with nitrogen of which less than this share is slow-release.
    pub slow_share_below: Option<Percent>,
    /// Products with more than this share of P2O5.
    pub phosphate_over: Option<Percent>,
}

impl Scope {
    /// Whether a product used for a purpose is meant.
    pub fn covers(&self, label: &Label, purpose: Purpose) -> bool {
        let is = |wanted: Option<bool>, fact: bool| wanted.is_none_or(|wanted| wanted == fact);
        (self.forms.is_empty() || self.forms.contains(&label.form))
            && (self.purposes.is_empty() || self.purposes.contains(&purpose))
            && is(self.enhanced_efficiency, label.enhanced_efficiency)
            && is(self.organic, label.organic)
            && is(self.labelled_for_establishment, label.labelled_for_establishment)
            && is(self.compost, label.compost)
            && self
                .slow_share_at_least
                .is_none_or(|least| slow_share(label, least).is_some_and(std::cmp::Ordering::is_ge))
            && self.slow_share_below.is_none_or(|below| slow_share(label, below).is_some_and(std::cmp::Ordering::is_lt))
            && self.phosphate_over.is_none_or(|over| label.phosphate_percent > over)
    }
}

/// How the slow-release share of a label's nitrogen compares, without rounding; nothing for a product without nitrogen.
fn slow_share(label: &Label, with: Percent) -> Option<std::cmp::Ordering> {
    let total = i128::from(label.nitrogen_percent.raw());
    let slow = i128::from(label.slow_nitrogen_percent.raw()) * 10_000;
    (total > 0).then(|| slow.cmp(&(i128::from(with.raw()) * total)))
}

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
    pub kind: Kind,
    pub binds: Binds,
    pub audience: Vec<Audience>,
    /// Recommended, not binding: it can only warn.
    pub advice: bool,
    pub scope: Scope,
    /// Whoever holds this credential on the day of application is not bound.
    pub unless_credential: Option<String>,
    /// By day, the earliest first; never empty.
    pub values: Vec<Value>,
}

/// The four answers to "what does this rule say on that day".
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing<'r> {
    InForce(&'r Value, &'r Duty),
    Repealed(&'r Value),
    /// The duty began later.
    NotYet(&'r Value),
    /// The oldest text that was read is of a later day; nothing says what held before it.
    Unknown(&'r Value),
}

impl Rule {
    /// What holds on a day; nothing for a rule without values, which the loader refuses.
    pub fn on(&self, day: Day) -> Option<Standing<'_>> {
        let standing = match self.values.iter().rfind(|value| value.from <= day) {
            Some(value) => match &value.duty {
                Some(duty) => Standing::InForce(value, duty),
                None => Standing::Repealed(value),
            },
            None => match self.values.first()? {
                first if first.starts => Standing::NotYet(first),
                first => Standing::Unknown(first),
            },
        };
        Some(standing)
    }

    /// Whether a broken value of this rule may refuse, or only warn.
    pub fn may_refuse(&self, value: &Value) -> bool {
        !self.advice && value.source.mark != Mark::Memory
    }
}
