//! What the applicator of a case holds.

use domain::{facts::HeldCredential, law::duty::Duty};
use serde::Deserialize;

use super::{book, day, written};

/// A credential that the applicator holds.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Credential {
    pub code: String,
    pub from: toml::value::Datetime,
    pub until: Option<toml::value::Datetime>,
    pub rule_set: Option<String>,
}

/// Everything that a rule asks its applicator to hold, so that a case on something else need not name it.
pub fn everything_asked() -> Vec<HeldCredential> {
    let rules = book().rule_sets().iter().flat_map(|set| &set.rules);
    let codes = rules.flat_map(|rule| &rule.values).filter_map(|value| match &value.duty {
        Some(Duty::CredentialNeed(need)) => Some(need.held.clone()),
        _ => None,
    });
    let held =
        |code| HeldCredential { code: Some(code), rule_set: None, valid_from: day("1990-01-01"), valid_until: None };
    codes.flatten().map(held).collect()
}

impl Credential {
    pub fn held(&self) -> HeldCredential {
        HeldCredential {
            code: (self.code != "unnamed").then(|| self.code.clone()),
            rule_set: self.rule_set.clone(),
            valid_from: written(&self.from),
            valid_until: self.until.as_ref().map(written),
        }
    }
}
