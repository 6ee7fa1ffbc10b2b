//! Which rule sets judge a property: those it names, the places around them, and the company's own.

use super::{COMPANY, LABEL, Lawbook, Level, RuleSet};
use crate::decision::Mark;

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
    /// Why its rules do not run.
    pub(crate) inert: Option<String>,
}

impl<'b> Stack<'b> {
    pub(crate) fn of(book: &'b Lawbook, codes: &[String]) -> Self {
        let mut stack = Self { sets: Vec::with_capacity(codes.len() + 2), missing: Vec::new() };
        for code in codes.iter().filter(|code| *code != COMPANY && *code != LABEL) {
            stack.add(book, code, 0);
        }
        stack.sets.extend(book.rule_set(COMPANY).map(|set| Stacked { set, inert: None }));
        stack
    }

    /// Adds a set behind those around it. The depth ends a circle, which the loader refuses anyway.
    fn add(&mut self, book: &'b Lawbook, code: &str, depth: usize) {
        let known = self.sets.iter().any(|stacked| stacked.set.about.code == code);
        if known || depth > book.sets.len() {
            return;
        }
        let Some(set) = book.rule_set(code) else {
            if !self.missing.iter().any(|missing| missing == code) {
                self.missing.push(code.to_owned());
            }
            return;
        };
        if let Some(parent) = &set.about.parent {
            self.add(book, parent, depth + 1);
        }
        let inert = preempted(book, set);
        self.sets.push(Stacked { set, inert });
    }
}

/// Why a local set does not count: a place around it says so, in a text that was read.
fn preempted(book: &Lawbook, set: &RuleSet) -> Option<String> {
    if !matches!(set.about.level, Level::County | Level::Municipality) {
        return None;
    }
    let mut parent = set.about.parent.as_deref();
    for _ in 0..=book.sets.len() {
        let above = book.rule_set(parent?)?;
        match &above.about.preempts_local {
            Some(bar) if bar.mark != Mark::Memory => {
                return Some(format!("Not applied: {} ({})", bar.words, bar.citation).chars().take(400).collect());
            }
            _ => parent = above.about.parent.as_deref(),
        }
    }
    None
}
