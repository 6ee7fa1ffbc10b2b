//! The law as data: dated, cited rules, one jurisdiction a file.
//!
//! A file is read once, at the start; a fault in any of them stops it. What holds is the law of the day of application, and
//! a day before the oldest text that was read is answered as unknown, never as free.

mod about;
mod changes;
mod convert;
mod duties;
pub mod duty;
mod fault;
mod fields;
pub mod model;
pub mod nutrient;
mod on_day;
mod read;
mod read_about;
mod schema;
mod schema_fields;
mod soil_reports;
mod stack;
mod strictest;
pub mod told;
mod words;
pub mod year;

use std::collections::{BTreeSet, HashMap};

pub use about::{Hole, Level, LocalRules, Preemption, Reach, RowId, RuleSetAbout, SetCode, StandsBy};
pub use changes::RuleChange;
pub use duties::{DutySource, KeptUntil, ReportDue, RequiredField};
pub use fault::LawFault;
pub use on_day::{InForce, RuleOnDay};
pub(crate) use on_day::{limited, list, month_day, purpose};
pub use schema::rule_file_schema;
pub use soil_reports::ReportTaken;
pub(crate) use stack::{Force, Stack};
pub use strictest::{CapPer, Intent, RuleName, Strictest, StrictestCap, StrictestDistance, StrictestMonths};

use crate::{decision::RuleSetUsed, time::Day};

/// The law files, by name. A test compares this list with the folder.
pub const EMBEDDED: &[(&str, &str)] = &[
    ("company.toml", include_str!("../../law/company.toml")),
    ("us-ct.toml", include_str!("../../law/us-ct.toml")),
    ("us-dc.toml", include_str!("../../law/us-dc.toml")),
    ("us-de.toml", include_str!("../../law/us-de.toml")),
    ("us-fl-alachua.toml", include_str!("../../law/us-fl-alachua.toml")),
    ("us-fl-boynton-beach.toml", include_str!("../../law/us-fl-boynton-beach.toml")),
    ("us-fl-lake-mary.toml", include_str!("../../law/us-fl-lake-mary.toml")),
    ("us-fl-marion.toml", include_str!("../../law/us-fl-marion.toml")),
    ("us-fl-melbourne-beach.toml", include_str!("../../law/us-fl-melbourne-beach.toml")),
    ("us-fl-neptune-beach.toml", include_str!("../../law/us-fl-neptune-beach.toml")),
    ("us-fl-north-palm-beach.toml", include_str!("../../law/us-fl-north-palm-beach.toml")),
    ("us-fl-orange.toml", include_str!("../../law/us-fl-orange.toml")),
    ("us-fl-palm-shores.toml", include_str!("../../law/us-fl-palm-shores.toml")),
    ("us-fl-pinellas.toml", include_str!("../../law/us-fl-pinellas.toml")),
    ("us-fl-sarasota.toml", include_str!("../../law/us-fl-sarasota.toml")),
    ("us-fl.toml", include_str!("../../law/us-fl.toml")),
    ("us-il.toml", include_str!("../../law/us-il.toml")),
    ("us-in.toml", include_str!("../../law/us-in.toml")),
    ("us-ky.toml", include_str!("../../law/us-ky.toml")),
    ("us-ma-barnstable.toml", include_str!("../../law/us-ma-barnstable.toml")),
    ("us-ma-falmouth.toml", include_str!("../../law/us-ma-falmouth.toml")),
    ("us-ma-nantucket.toml", include_str!("../../law/us-ma-nantucket.toml")),
    ("us-ma.toml", include_str!("../../law/us-ma.toml")),
    ("us-md.toml", include_str!("../../law/us-md.toml")),
    ("us-me-portland.toml", include_str!("../../law/us-me-portland.toml")),
    ("us-me-south-portland.toml", include_str!("../../law/us-me-south-portland.toml")),
    ("us-me.toml", include_str!("../../law/us-me.toml")),
    ("us-mi-pittsfield.toml", include_str!("../../law/us-mi-pittsfield.toml")),
    ("us-mi-wolverine-lake.toml", include_str!("../../law/us-mi-wolverine-lake.toml")),
    ("us-mi.toml", include_str!("../../law/us-mi.toml")),
    ("us-mn-roseville.toml", include_str!("../../law/us-mn-roseville.toml")),
    ("us-mn-wright.toml", include_str!("../../law/us-mn-wright.toml")),
    ("us-mn.toml", include_str!("../../law/us-mn.toml")),
    ("us-nh.toml", include_str!("../../law/us-nh.toml")),
    ("us-nj.toml", include_str!("../../law/us-nj.toml")),
    ("us-ny-nassau.toml", include_str!("../../law/us-ny-nassau.toml")),
    ("us-ny-rockland.toml", include_str!("../../law/us-ny-rockland.toml")),
    ("us-ny-suffolk.toml", include_str!("../../law/us-ny-suffolk.toml")),
    ("us-ny-westchester.toml", include_str!("../../law/us-ny-westchester.toml")),
    ("us-ny.toml", include_str!("../../law/us-ny.toml")),
    ("us-oh-western-basin.toml", include_str!("../../law/us-oh-western-basin.toml")),
    ("us-oh.toml", include_str!("../../law/us-oh.toml")),
    ("us-pa.toml", include_str!("../../law/us-pa.toml")),
    ("us-va.toml", include_str!("../../law/us-va.toml")),
    ("us-vt.toml", include_str!("../../law/us-vt.toml")),
    ("us-wa-bellingham-lake.toml", include_str!("../../law/us-wa-bellingham-lake.toml")),
    ("us-wa-whatcom-lakes.toml", include_str!("../../law/us-wa-whatcom-lakes.toml")),
    ("us-wa.toml", include_str!("../../law/us-wa.toml")),
    ("us-wi-dane.toml", include_str!("../../law/us-wi-dane.toml")),
    ("us-wi.toml", include_str!("../../law/us-wi.toml")),
];

/// The code of the company's own set, which always takes part.
pub const COMPANY: &str = "company";
/// The file of the company's own set.
const COMPANY_FILE: &str = "company.toml";
/// The code under which findings about the label are known.
pub const LABEL: &str = "label";

/// Every rule set this server knows.
#[derive(Debug, Default)]
pub struct Lawbook {
    sets: Vec<RuleSet>,
    by_code: HashMap<String, usize>,
}

/// One file of law.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RuleSet {
    pub about: RuleSetAbout,
    /// The file word for word: what the hash was taken of.
    pub text: String,
    pub rules: Vec<model::Rule>,
}

/// Whether an operator's file would take the place of a set that is built in.
fn replaces(file: &str, text: &str) -> Option<LawFault> {
    let table: toml::Table = text.parse().ok()?;
    let code = table.get("code")?.as_str()?;
    let what = if code == COMPANY {
        (file != COMPANY_FILE).then(|| format!("the company's set is read from {COMPANY_FILE} alone"))?
    } else {
        let named = |name: &str| name.strip_suffix(".toml") == Some(code);
        EMBEDDED
            .iter()
            .any(|(name, _)| named(name))
            .then(|| "this set is built in and cannot be replaced".to_owned())?
    };
    Some(LawFault { file: file.to_owned(), rule: None, field: "code".to_owned(), what })
}

impl Lawbook {
    /// The rule sets that are built in.
    pub fn embedded() -> Result<Self, Vec<LawFault>> {
        Self::from_texts(EMBEDDED)
    }

    /// The rule sets that are built in, with an operator's own files beside them. A file named like a built-in one takes its
    /// place only if that is the company's; every other set of the law stays as it was read. All faults of all files come
    /// back at once, and then nothing is loaded.
    pub fn with_files(files: &[(String, String)]) -> Result<Self, Vec<LawFault>> {
        let own_company = files.iter().any(|(name, _)| name == COMPANY_FILE);
        let built_in = EMBEDDED.iter().copied().filter(|(name, _)| !(own_company && *name == COMPANY_FILE));
        let mut faults: Vec<LawFault> = files.iter().filter_map(|(name, text)| replaces(name, text)).collect();
        // Of a file that may not be here at all nothing else is worth saying.
        let refused: Vec<String> = faults.iter().map(|fault| fault.file.clone()).collect();
        let own = files.iter().filter(|(name, _)| !refused.contains(name));
        let own = own.map(|(name, text)| (name.as_str(), text.as_str()));
        match Self::from_texts(&built_in.chain(own).collect::<Vec<_>>()) {
            Ok(book) if faults.is_empty() => Ok(book),
            Ok(_) => Err(faults),
            Err(others) => {
                faults.extend(others);
                Err(faults)
            }
        }
    }

    /// Reads files given as name and text. All faults of all files come back at once.
    pub fn from_texts(texts: &[(&str, &str)]) -> Result<Self, Vec<LawFault>> {
        let mut faults = Vec::new();
        let mut book = Self::default();
        let mut file_of_rule: HashMap<String, &str> = HashMap::new();
        for (file, text) in texts {
            let Some(set) = read::rule_set(file, text, &mut faults) else { continue };
            let mut twice = |field: &str, what: String| {
                faults.push(LawFault { file: (*file).to_owned(), rule: None, field: field.to_owned(), what });
            };
            for rule in &set.rules {
                if let Some(first) = file_of_rule.insert(rule.id.clone(), file) {
                    twice("id", format!("`{}` is used twice, first in {first}", rule.id));
                }
                if !rule.id.starts_with(&format!("{}.", set.about.code)) {
                    twice("id", format!("`{}` must begin with `{}.`", rule.id, set.about.code));
                }
            }
            if set.about.code == LABEL {
                twice("code", format!("`{LABEL}` is kept for what the label says"));
            }
            if book.by_code.insert(set.about.code.clone(), book.sets.len()).is_some() {
                twice("code", format!("`{}` is used by two files", set.about.code));
            }
            if (set.about.level == Level::Company) != (set.about.code == COMPANY) {
                twice("level", format!("is \"company\" for the set `{COMPANY}`, and for no other"));
            }
            book.sets.push(set);
        }
        book.check_parents(texts, &mut faults);
        book.check_exceptions(texts, &mut faults);
        if faults.is_empty() { Ok(book) } else { Err(faults) }
    }

    fn check_parents(&self, texts: &[(&str, &str)], faults: &mut Vec<LawFault>) {
        for set in &self.sets {
            let Some(what) = self.parent_fault(set) else { continue };
            let file = texts.iter().find(|(_, text)| *text == set.text).map_or("", |(file, _)| *file);
            faults.push(LawFault { file: file.to_owned(), rule: None, field: "parent".to_owned(), what });
        }
    }

    /// What is wrong with the place that a set lies in.
    fn parent_fault(&self, set: &RuleSet) -> Option<String> {
        let code = set.about.parent.as_ref()?;
        let Some(parent) = self.rule_set(code) else { return Some(format!("`{code}` is no rule set")) };
        let mut above = parent;
        // A chain that is longer than there are sets runs in a circle.
        for _ in 0..=self.sets.len() {
            if above.about.code == set.about.code {
                return Some("leads back to this set in a circle".to_owned());
            }
            let Some(next) = above.about.parent.as_deref().and_then(|code| self.rule_set(code)) else { break };
            above = next;
        }
        let level = parent.about.level;
        let fault = match set.about.level {
            // The law of a state for a part of it stands in a set of its own, under the state's code.
            Level::State if level == Level::State && set.about.code.starts_with(&format!("{code}-")) => return None,
            Level::State => "a state lies in no other place",
            Level::County if level != Level::State => "a county lies in a state",
            Level::Municipality if !matches!(level, Level::State | Level::County) => {
                "a municipality lies in a state or a county"
            }
            Level::County | Level::Municipality if parent.about.local_rules == LocalRules::Absent => {
                "no place lies inside it"
            }
            // The company's set has no parent, which is seen where it is read.
            Level::County | Level::Municipality | Level::Company => return None,
        };
        Some(format!("`{code}` cannot be it: {fault}"))
    }

    /// The local sets that a bar does not meet must be there, or the bar would meet them.
    fn check_exceptions(&self, texts: &[(&str, &str)], faults: &mut Vec<LawFault>) {
        for set in &self.sets {
            let except = set.about.preempts_local.iter().flat_map(|bar| &bar.except);
            for code in except.filter(|code| self.rule_set(&code.0).is_none()) {
                let file = texts.iter().find(|(_, text)| *text == set.text).map_or("", |(file, _)| *file);
                let what = format!("`except` names `{}`, but `{}` is no rule set", code.0, code.0);
                faults.push(LawFault { file: file.to_owned(), rule: None, field: "preempts_local".to_owned(), what });
            }
        }
    }

    /// Every set, in the order they were read.
    pub fn rule_sets(&self) -> &[RuleSet] {
        &self.sets
    }

    pub fn rule_set(&self, code: &str) -> Option<&RuleSet> {
        self.by_code.get(code).and_then(|at| self.sets.get(*at))
    }

    /// The sets that stand over a place with these codes, and why one of them does not count there.
    pub fn over(&self, codes: &[String]) -> Vec<RuleSetUsed> {
        Stack::of(self, codes).used()
    }

    /// The credentials that free their holders from a rule, by the codes under which rule files call them.
    pub fn credentials(&self) -> BTreeSet<&str> {
        let rules = self.sets.iter().flat_map(|set| &set.rules);
        rules.filter_map(|rule| rule.unless_credential.as_deref()).collect()
    }

    /// What every rule of the stacked sets says on a day, with the sets above them and the company's own.
    pub fn on_day(&self, codes: &[String], day: Day) -> Vec<RuleOnDay> {
        let stack = Stack::of(self, codes);
        let running = stack.sets.iter().filter(|stacked| stacked.force.may_run());
        let rules = running.flat_map(|stacked| {
            let note = stacked.force.note();
            on_day::rules(stacked.set, day).map(move |rule| RuleOnDay { note: note.map(str::to_owned), ..rule })
        });
        rules.collect()
    }
}
