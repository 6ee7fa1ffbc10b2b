//! The law as data: dated, cited rules, one jurisdiction a file.
use crate::time::Day;
#[derive(Debug, Default)]
pub struct Lawbook {
    sets: Vec<RuleSet>,
}
#[derive(Debug)]
pub struct RuleSetAbout {
    pub code: String,
    pub name: String,
    pub last_checked: Day,
    pub hash: String,
}
#[derive(Debug)]
pub struct RuleSet {
    pub about: RuleSetAbout,
    pub text: String,
}
#[derive(Debug, thiserror::Error)]
#[error("fault")]
pub struct LawFault {}
impl Lawbook {
    pub fn embedded() -> Result<Self, Vec<LawFault>> {
        Ok(Self::default())
    }
    pub fn rule_sets(&self) -> &[RuleSet] {
        &self.sets
    }
    pub fn rule_set(&self, code: &str) -> Option<&RuleSet> {
        self.sets.iter().find(|s| s.about.code == code)
    }
}
