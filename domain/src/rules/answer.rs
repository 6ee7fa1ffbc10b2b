//! What one rule answers.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

/// How one rule answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// The rule is met.
    Met,
    /// Not forbidden, but to be looked at.
    Care,
    /// The rule is broken.
    Broken,
    /// The rule cannot be answered: a fact or the law itself is not known.
    Unknown,
}

/// What one rule answers, before its mark decides what that is worth.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Answer {
    pub(crate) outcome: Outcome,
    /// The fact was only not looked at yet; care is enough.
    pub(crate) to_be_seen: bool,
    pub(crate) message: String,
    pub(crate) hint: String,
    pub(crate) limit: Option<String>,
    pub(crate) actual: Option<String>,
    pub(crate) unit: Option<Cow<'static, str>>,
}

impl Answer {
    pub(super) fn new(outcome: Outcome, message: String, hint: impl Into<String>) -> Self {
        let hint = hint.into();
        Self { outcome, to_be_seen: false, message, hint, limit: None, actual: None, unit: None }
    }

    /// The law itself is not known.
    pub(crate) fn law_unknown(message: String, hint: &str) -> Self {
        Self::unknown(message, hint)
    }

    /// Law that is known to be missing.
    pub(crate) fn law_care(message: String, hint: String) -> Self {
        Self::care(message, hint)
    }

    /// A text leaves this kind of ground out, so its rules are met.
    pub(crate) fn left_out(kind: &'static str) -> Self {
        Self::met().with("outside".to_owned(), Some(kind.to_owned()), "kind of ground")
    }

    /// How strict it is, from met on.
    pub(super) const fn severity(&self) -> u8 {
        match self.outcome {
            Outcome::Met => 0,
            Outcome::Care => 1,
            Outcome::Unknown if self.to_be_seen => 2,
            Outcome::Unknown => 3,
            Outcome::Broken => 4,
        }
    }

    pub(super) fn met() -> Self {
        Self::new(Outcome::Met, String::new(), String::new())
    }

    pub(super) fn broken(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Outcome::Broken, message.into(), hint)
    }

    pub(super) fn care(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Outcome::Care, message.into(), hint)
    }

    pub(super) fn unknown(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Outcome::Unknown, message.into(), hint)
    }

    /// Not known because nobody has looked yet, which a look can mend before the work begins.
    pub(super) fn unseen(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { to_be_seen: true, ..Self::unknown(message, hint) }
    }

    pub(super) fn with(mut self, limit: String, actual: Option<String>, unit: impl Into<Cow<'static, str>>) -> Self {
        (self.limit, self.actual, self.unit) = (Some(limit), actual, Some(unit.into()));
        self
    }
}
