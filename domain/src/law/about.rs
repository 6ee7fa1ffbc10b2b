//! What a rule set says about itself: its place, its reach over local rules, and the holes it knows of.

use serde::{Deserialize, Serialize};

use super::{mark::Mark, scope::Scope};
use crate::{ids::RuleSetCode, land::PropertyKind, time::Day};

/// How far a rule set reaches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    State,
    County,
    Municipality,
    Company,
}

/// What a rule set is, without its rules.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct RuleSetAbout {
    #[schema(max_length = 60, example = "us-pa")]
    pub code: String,
    #[schema(max_length = 120, example = "Pennsylvania")]
    pub name: String,
    pub level: Level,
    /// The set of the place around this one.
    #[schema(max_length = 60)]
    pub parent: Option<String>,
    /// Said when local rules under this set do not count.
    pub preempts_local: Option<Preemption>,
    /// Whether it is known that local rules count here.
    pub local_rules: LocalRules,
    /// Said when this set is no whole answer: which place inside it decides.
    #[schema(max_length = 300)]
    pub local_decides: Option<String>,
    /// Day on which a local rule was enacted, if that is known: some states let older ones stand.
    pub enacted_on: Option<Day>,
    /// What lets a local rule stand although the place around it bars local rules.
    pub stands_by: Option<Authorization>,
    /// Whether public employees in their work are bound like those who work for hire.
    pub public_work_is_for_hire: bool,
    /// Which kinds of ground are outside the set or some of its rules.
    #[schema(max_items = 20)]
    pub outside: Vec<Outside>,
    /// What is known to be missing.
    #[schema(max_items = 40)]
    pub holes: Vec<CoverageGap>,
    /// What the set covers, and what it does not.
    #[schema(max_length = 600)]
    pub coverage: String,
    pub last_checked: Day,
    /// SHA-256 of the rule set's text, in hexadecimal.
    #[schema(max_length = 64)]
    pub hash: String,
}

impl RuleSetAbout {
    /// Whether somebody should compare the set with the law again: it was last compared more than so many calendar months
    /// ago. On the day on which the months are full the reading still stands.
    pub fn needs_new_look(&self, today: Day, max_age_months: u16) -> bool {
        self.last_checked.plus_months(i32::from(max_age_months)) < today
    }
}

/// A row of the reading notes in `domain/law/README.md`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[schema(max_length = 20, example = "PA-02")]
#[serde(transparent)]
pub struct RowId(pub String);

/// Whether local rules count where nothing bars them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LocalRules {
    #[default]
    Stand,
    /// No text was found, so a local rule may warn and not refuse.
    Unknown,
    /// No place lies inside this one, so there is nobody to ask.
    Absent,
}

/// Which local rules a bar meets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AppliesTo {
    /// Every local rule.
    #[default]
    All,
    /// Only what local rules say of products with phosphorus.
    Phosphorus,
}

/// The text by which a state keeps local rules from counting.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Preemption {
    #[schema(max_length = 300)]
    pub words: String,
    #[schema(max_length = 400)]
    pub citation: String,
    #[schema(max_length = 600)]
    pub href: Option<String>,
    pub mark: Mark,
    #[schema(max_items = 20, value_type = Vec<RowId>)]
    pub rows: Vec<String>,
    pub reach: AppliesTo,
    /// Local rules enacted before this day stand.
    pub older_than: Option<Day>,
    /// What of such older rules stands.
    pub older_reach: AppliesTo,
    /// Local sets that the bar does not meet, with every place inside them.
    #[schema(max_items = 40)]
    pub except: Vec<RuleSetCode>,
}

/// The finding or approval by which a local rule stands under a state that bars local rules.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Authorization {
    #[schema(max_length = 300)]
    pub words: String,
    #[schema(max_length = 400)]
    pub citation: String,
    #[schema(max_length = 600)]
    pub href: Option<String>,
    pub mark: Mark,
}

/// Kinds of ground that a text leaves out of a rule set, or of some of its rules.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Outside {
    #[schema(max_items = 8)]
    pub kinds: Vec<PropertyKind>,
    /// The rules that are lifted; empty for all that judge an application.
    #[schema(max_items = 40, value_type = Vec<super::rule_name::RuleName>)]
    pub rules: Vec<String>,
    /// The first day on which they are known to be outside.
    pub from: Day,
    /// Only where the applicator or the supervisor holds this.
    #[schema(max_length = 60)]
    pub credential: Option<String>,
    /// Only where a written nutrient plan for the site is in the book.
    pub with_plan: bool,
    /// What else the text asks, which no fact shows: the rules then ask for care instead of refusing.
    #[schema(max_length = 200)]
    pub condition: Option<String>,
    #[schema(max_length = 400)]
    pub citation: String,
    #[schema(max_length = 600)]
    pub href: Option<String>,
    pub mark: Mark,
    #[schema(max_items = 20, value_type = Vec<RowId>)]
    pub rows: Vec<String>,
}

/// Law that is known to exist, or likely to, and was not found. It stays visible.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct CoverageGap {
    /// What is missing, in a sentence.
    #[schema(max_length = 300)]
    pub words: String,
    #[schema(max_items = 20, value_type = Vec<RowId>)]
    pub rows: Vec<String>,
    /// Whether every application under the set asks for care because of it.
    pub asks_care: bool,
    /// Whether it is about what labels may say, so that the check of a label asks for care because of it.
    #[serde(skip)]
    #[schema(ignore)]
    pub about_labels: bool,
    /// Kinds of ground that it is not about.
    #[serde(skip)]
    #[schema(ignore)]
    pub outside_kinds: Vec<PropertyKind>,
    /// Which products it is about.
    #[serde(skip)]
    #[schema(ignore)]
    pub when: Scope,
}
