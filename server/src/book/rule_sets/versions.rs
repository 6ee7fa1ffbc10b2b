//! What becomes of another version of a rule set that counts. Pure.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use domain::law::{LawFault, Lawbook};

use crate::problem::{Kind, Problem};

/// What becomes of a new version.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// Until the owner has seen what it changes, the version before it goes on counting.
    Waits,
    /// Its rules are equal, so it counts.
    Same,
    /// It binds no property, so it counts.
    Unused,
    /// The version before it cannot be read, so it counts.
    Unreadable,
}

/// The law that counts, and what became of each new version.
#[derive(Debug)]
pub struct Weighed {
    /// Nothing where all of what is offered counts.
    pub law: Option<Lawbook>,
    pub fates: Vec<(String, Fate)>,
}

/// Texts of rule sets, by code.
pub type Texts = BTreeMap<String, String>;

/// A lawbook with other texts of some sets, by code.
pub fn mixed(law: &Lawbook, texts: &Texts) -> Result<Lawbook, Vec<LawFault>> {
    let named: Vec<(String, &str)> = law
        .rule_sets()
        .iter()
        .map(|set| (file(&set.about.code), texts.get(&set.about.code).unwrap_or(&set.text).as_str()))
        .collect();
    Lawbook::from_texts(&named.iter().map(|(file, text)| (file.as_str(), *text)).collect::<Vec<_>>())
}

/// Said of a version that cannot stand beside the others that count.
pub fn does_not_fit(faults: &[LawFault]) -> Problem {
    let faults: Vec<String> = faults.iter().map(ToString::to_string).collect();
    let detail =
        format!("This version does not fit the others that count: {}. Confirm those first.", faults.join("; "));
    Problem::new(Kind::Conflict, detail)
}

fn file(code: &str) -> String {
    format!("{code}.toml")
}

/// Weighs what is offered against the texts that counted of those that changed. `lists` are the rule sets of every property.
pub fn weigh(offered: &Lawbook, mut kept: Texts, lists: &[Vec<String>]) -> Weighed {
    let codes: BTreeSet<String> = kept.keys().cloned().collect();
    let old = read_back(offered, &mut kept);
    let bound = |law: &Lawbook| lists.iter().flat_map(|codes| law.over(codes)).map(|used| used.code).collect();
    let mut binding: BTreeSet<String> = bound(offered);
    binding.extend(old.as_ref().map(bound).unwrap_or_default());
    let mut fates: HashMap<String, Fate> = HashMap::new();
    kept.retain(|code, _| {
        let sets = old.as_ref().and_then(|old| old.rule_set(code)).zip(offered.rule_set(code));
        let fate = match sets {
            Some((before, after)) if before.has_rules_of(after) => Fate::Same,
            _ if !binding.contains(code) => Fate::Unused,
            _ => Fate::Waits,
        };
        fates.insert(code.clone(), fate);
        fate == Fate::Waits
    });
    let law = read_back(offered, &mut kept);
    let fate = |code: &String| match fates.get(code) {
        Some(Fate::Waits) if !kept.contains_key(code) => Fate::Unreadable,
        Some(fate) => *fate,
        None if binding.contains(code) => Fate::Unreadable,
        None => Fate::Unused,
    };
    Weighed { law, fates: codes.iter().map(|code| (code.clone(), fate(code))).collect() }
}

/// What is offered with the texts that counted in their places. Texts that cannot be read, alone or beside the others, are given up;
/// nothing where none is left.
fn read_back(offered: &Lawbook, kept: &mut Texts) -> Option<Lawbook> {
    while !kept.is_empty() {
        match mixed(offered, kept) {
            Ok(law) => return Some(law),
            Err(faults) => {
                let before = kept.len();
                kept.retain(|code, _| !faults.iter().any(|fault| fault.file == file(code)));
                if kept.len() == before {
                    // The fault shows in a file that did not change, so which of the texts it comes from cannot be told.
                    kept.clear();
                }
            }
        }
    }
    None
}
