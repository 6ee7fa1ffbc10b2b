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
    /// The version before it does not fit the others that count beside it, so it counts.
    Unfit,
    /// The records were decided by another version before it was written which one counts, so it counts.
    Upgraded,
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
    let known = law.rule_sets().iter().map(|set| (&set.about.code, texts.get(&set.about.code).unwrap_or(&set.text)));
    let gone = texts.iter().filter(|(code, _)| law.rule_set(code).is_none());
    let named: Vec<(String, &str)> = known.chain(gone).map(|(code, text)| (file(code), text.as_str())).collect();
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
    let mut given_up = BTreeMap::new();
    let old = read_back(offered, &mut kept, &mut given_up);
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
    let law = read_back(offered, &mut kept, &mut given_up);
    let fate = |code: &String| match given_up.get(code).or_else(|| fates.get(code)) {
        Some(Fate::Unreadable | Fate::Unfit) if !binding.contains(code) => Fate::Unused,
        Some(fate) => *fate,
        None => Fate::Unused,
    };
    Weighed { law, fates: codes.iter().map(|code| (code.clone(), fate(code))).collect() }
}

/// What is offered with the texts that counted in their places. A text that cannot be read, or that does not fit the others, is given
/// up, and noted with why; the others stay, so that what they wait for is still seen first. Nothing where none is left.
fn read_back(offered: &Lawbook, kept: &mut Texts, given_up: &mut BTreeMap<String, Fate>) -> Option<Lawbook> {
    let mut parents: HashMap<String, Option<String>> = HashMap::new();
    for set in offered.rule_sets() {
        parents.insert(set.about.code.clone(), set.about.parent.clone());
    }
    kept.retain(|code, text| match Lawbook::read_alone(&file(code), text) {
        Ok(set) if set.about.code == *code => {
            parents.insert(code.clone(), set.about.parent);
            true
        }
        _ => {
            given_up.insert(code.clone(), Fate::Unreadable);
            false
        }
    });
    while !kept.is_empty() {
        let faults = match mixed(offered, kept) {
            Ok(law) => return Some(law),
            Err(faults) => faults,
        };
        let mut concerned: BTreeSet<String> =
            faults.iter().filter_map(|fault| nearest_kept(&fault.file, kept, &parents)).collect();
        if concerned.is_empty() {
            concerned = beyond_what_fits(offered, kept);
        }
        for code in concerned {
            kept.remove(&code);
            given_up.insert(code, Fate::Unfit);
        }
    }
    None
}

/// The set whose text of before a fault concerns: that of the file itself, or the nearest above it.
fn nearest_kept(in_file: &str, kept: &Texts, parents: &HashMap<String, Option<String>>) -> Option<String> {
    let mut code = in_file.strip_suffix(".toml")?;
    // A chain that is longer than there are sets runs in a circle.
    for _ in 0..=parents.len() {
        if kept.contains_key(code) {
            return Some(code.to_owned());
        }
        code = parents.get(code)?.as_deref()?;
    }
    None
}

/// Where a fault does not show which text it comes from: those that do not fit once the ones before them are in place.
fn beyond_what_fits(offered: &Lawbook, kept: &Texts) -> BTreeSet<String> {
    let mut fitting = Texts::new();
    let mut beyond = BTreeSet::new();
    for (code, text) in kept {
        fitting.insert(code.clone(), text.clone());
        if mixed(offered, &fitting).is_err() {
            fitting.remove(code);
            beyond.insert(code.clone());
        }
    }
    beyond
}
