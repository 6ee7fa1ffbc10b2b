//! Which rule sets judge a property: those it names, the places around them, and the company's own.
//!
//! Every rule of every set that runs is asked, and the gravest answer decides. That alone is the strictest of them all: the
//! lowest cap, the union of barred days, the longest distance, the youngest soil report. A set is only left out where the
//! law itself says so.

use serde::{Deserialize, Serialize};

use super::{
    about::{AppliesTo, Level, LocalRules, Preemption},
    book::Lawbook,
    embedded::{COMPANY, LABEL},
    mark::Mark,
    model::RuleSet,
};
use crate::time::Day;

/// A rule set that took part, by the hash of its text.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct RuleSetUsed {
    #[schema(max_length = 60, example = "us-pa")]
    pub code: String,
    /// SHA-256 of the rule set's text, in hexadecimal; null when nobody has gathered it.
    #[schema(max_length = 64)]
    pub hash: Option<String>,
    /// The day it was last compared with the law; null when nobody has gathered it.
    pub last_checked: Option<Day>,
    /// Said when the set did not take part: it is pre-empted, or nobody has gathered its law.
    #[schema(max_length = 400)]
    pub note: Option<String>,
}

/// The sets that stand over one property.
#[derive(Debug)]
pub(crate) struct Stack<'b> {
    /// The widest place first; the company's own set last.
    pub(crate) sets: Vec<Stacked<'b>>,
    /// Codes that no file answers to.
    pub(crate) missing: Vec<String>,
}

#[derive(Debug)]
pub(crate) struct Stacked<'b> {
    pub(crate) set: &'b RuleSet,
    pub(crate) force: Force,
}

/// What the places around a set leave of its force.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Force {
    Runs,
    /// Nothing shows whether its rules count, so they may only warn.
    Warns(String),
    /// Its rules do not count.
    Inert(String),
    /// Its rules do not count for products with phosphorus.
    InertWithPhosphorus(String),
    /// Only what it says of products with phosphorus counts.
    InertWithoutPhosphorus(String),
}

impl Force {
    /// Whether its rules count for any product at all.
    pub(crate) const fn may_run(&self) -> bool {
        !matches!(self, Self::Inert(_))
    }

    /// Whether its rules count for a product.
    pub(crate) const fn runs_for(&self, with_phosphorus: bool) -> bool {
        match self {
            Self::Runs | Self::Warns(_) => true,
            Self::Inert(_) => false,
            Self::InertWithPhosphorus(_) => !with_phosphorus,
            Self::InertWithoutPhosphorus(_) => with_phosphorus,
        }
    }

    pub(crate) fn note(&self) -> Option<&str> {
        match self {
            Self::Runs => None,
            Self::Warns(why)
            | Self::Inert(why)
            | Self::InertWithPhosphorus(why)
            | Self::InertWithoutPhosphorus(why) => Some(why),
        }
    }
}

impl<'b> Stack<'b> {
    pub(crate) fn of(book: &'b Lawbook, codes: &[String]) -> Self {
        let mut stack = Self { sets: Vec::with_capacity(codes.len() + 2), missing: Vec::new() };
        for code in codes.iter().filter(|code| *code != COMPANY && *code != LABEL) {
            stack.add(book, code);
        }
        stack.sets.extend(book.rule_set(COMPANY).map(|set| Stacked { set, force: Force::Runs }));
        stack
    }

    /// Adds a set behind those around it. The loader refuses a circle of parents, so this ends.
    fn add(&mut self, book: &'b Lawbook, code: &str) {
        if self.sets.iter().any(|stacked| stacked.set.about.code == code) {
            return;
        }
        let Some(set) = book.rule_set(code) else {
            if !self.missing.iter().any(|missing| missing == code) {
                self.missing.push(code.to_owned());
            }
            return;
        };
        if let Some(parent) = &set.about.parent {
            self.add(book, parent);
        }
        let force = force(book, set);
        self.sets.push(Stacked { set, force });
    }

    /// What took part, in order, with why a set did not.
    pub(crate) fn used(&self) -> Vec<RuleSetUsed> {
        let used = self.sets.iter().map(|stacked| RuleSetUsed {
            code: stacked.set.about.code.clone(),
            hash: Some(stacked.set.about.hash.clone()),
            last_checked: Some(stacked.set.about.last_checked),
            note: stacked.force.note().map(str::to_owned),
        });
        let missing = self.missing.iter().map(|code| RuleSetUsed {
            code: crate::text::truncate_chars(code, 60),
            hash: None,
            last_checked: None,
            note: Some("Nobody has gathered this law; nothing of it was asked.".to_owned()),
        });
        used.chain(missing).collect()
    }

    /// Places that say a place inside them decides, without one of those in the stack.
    pub(crate) fn undecided(&self) -> impl Iterator<Item = (&'b RuleSet, &'b str)> + '_ {
        let has_inner = |code: &str| {
            self.sets.iter().any(|stacked| stacked.set.about.parent.as_deref() == Some(code) && stacked.force.may_run())
        };
        self.sets.iter().filter_map(move |stacked| {
            let words = stacked.set.about.local_decides.as_deref()?;
            (!has_inner(&stacked.set.about.code)).then_some((stacked.set, words))
        })
    }
}

/// What the places around a local set leave of it. Only a text that was read can bar it.
fn force(book: &Lawbook, set: &RuleSet) -> Force {
    if !matches!(set.about.level, Level::County | Level::Municipality) {
        return Force::Runs;
    }
    let mut inside = vec![set.about.code.as_str()];
    let mut parent = set.about.parent.as_deref();
    for _ in 0..=book.rule_sets().len() {
        let Some(above) = parent.and_then(|code| book.rule_set(code)) else { return Force::Runs };
        match &above.about.preempts_local {
            Some(bar) if bar.mark != Mark::Memory && !bar.excepts(&inside) => return barred(bar, set),
            _ => {}
        }
        if above.about.local_rules == LocalRules::Unknown {
            let name = &above.about.name;
            return Force::Warns(format!(
                "Only warns: no text was found that says whether local rules count in {name}."
            ));
        }
        inside.push(above.about.code.as_str());
        parent = above.about.parent.as_deref();
    }
    Force::Runs
}

impl Preemption {
    fn excepts(&self, codes: &[&str]) -> bool {
        self.except.iter().any(|except| codes.contains(&except.0.as_str()))
    }
}

fn barred(bar: &Preemption, set: &RuleSet) -> Force {
    let cut = |text: String| crate::text::truncate_chars(&text, 400);
    if set.about.stands_by.as_ref().is_some_and(|by| by.mark != Mark::Memory) {
        return Force::Runs;
    }
    if let Some(older_than) = bar.older_than {
        match (set.about.enacted_on, bar.older_reach) {
            (Some(day), AppliesTo::All) if day < older_than => return Force::Runs,
            (Some(day), AppliesTo::Phosphorus) if day < older_than => {
                let why = format!("Applied to products with phosphorus only: {} ({})", bar.words, bar.citation);
                return Force::InertWithoutPhosphorus(cut(why));
            }
            (Some(_), _) => {}
            (None, _) => {
                let why = format!(
                    "Only warns: whether it was enacted before {older_than} is not known. {} ({})",
                    bar.words, bar.citation
                );
                return Force::Warns(cut(why));
            }
        }
    }
    match bar.reach {
        AppliesTo::All => Force::Inert(cut(format!("Not applied: {} ({})", bar.words, bar.citation))),
        AppliesTo::Phosphorus => {
            let why = format!("Not applied to products with phosphorus: {} ({})", bar.words, bar.citation);
            Force::InertWithPhosphorus(cut(why))
        }
    }
}

impl Lawbook {
    /// The sets that stand over a place with these codes, and why one of them does not count there.
    pub fn over(&self, codes: &[String]) -> Vec<RuleSetUsed> {
        Stack::of(self, codes).used()
    }
}
