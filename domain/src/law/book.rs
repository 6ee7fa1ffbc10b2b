//! Every rule set that is known: read once, all faults told at once.

use std::collections::{BTreeSet, HashMap};

use super::{
    about::{Level, LocalRules},
    duty::Duty,
    embedded::{COMPANY, COMPANY_FILE, EMBEDDED, LABEL},
    fault::LawFault,
    model::RuleSet,
    read,
};

/// Every rule set this server knows.
#[derive(Debug, Default)]
pub struct Lawbook {
    sets: Vec<RuleSet>,
    by_code: HashMap<String, usize>,
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
        book.check_outside(texts, &mut faults);
        book.check_parents(texts, &mut faults);
        book.check_exceptions(texts, &mut faults);
        if faults.is_empty() { Ok(book) } else { Err(faults) }
    }

    /// Reads one file by itself, without a look at whether it fits others.
    pub fn read_alone(file: &str, text: &str) -> Result<RuleSet, Vec<LawFault>> {
        let mut faults = Vec::new();
        match read::rule_set(file, text, &mut faults) {
            Some(set) if faults.is_empty() => Ok(set),
            _ => Err(faults),
        }
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

    /// What lifts a rule must name one of its own set, or it would lift nothing and nobody would see it.
    fn check_outside(&self, texts: &[(&str, &str)], faults: &mut Vec<LawFault>) {
        for set in &self.sets {
            let named = set.about.outside.iter().flat_map(|outside| &outside.rules);
            for id in named.filter(|id| !set.rules.iter().any(|rule| rule.id == **id && rule.kind.judges())) {
                let file = texts.iter().find(|(_, text)| *text == set.text).map_or("", |(file, _)| *file);
                let what = format!("names `{id}`, which is no rule of this set that judges an application");
                faults.push(LawFault { file: file.to_owned(), rule: None, field: "outside".to_owned(), what });
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

    /// The credentials that rules ask for, or that free their holders from one, by the codes under which rule files call them.
    pub fn credentials(&self) -> BTreeSet<&str> {
        let rules = || self.sets.iter().flat_map(|set| &set.rules);
        let needs = rules().flat_map(|rule| &rule.values).filter_map(|value| match &value.duty {
            Some(Duty::CredentialNeed(need)) => Some(need.held.iter().chain(&need.trained)),
            _ => None,
        });
        self.freeing().chain(needs.flatten().map(String::as_str)).collect()
    }

    /// Whether a credential frees its holder from a rule somewhere.
    pub fn frees(&self, code: &str) -> bool {
        self.freeing().any(|freeing| freeing == code)
    }

    fn freeing(&self) -> impl Iterator<Item = &str> {
        let outside = self.sets.iter().flat_map(|set| &set.about.outside);
        let named = outside.filter_map(|outside| outside.credential.as_deref());
        let rules = self.sets.iter().flat_map(|set| &set.rules);
        rules.filter_map(|rule| rule.unless_credential.as_deref()).chain(named)
    }
}
