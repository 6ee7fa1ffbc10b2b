//! What a rule is asked about.

use crate::{
    facts::{Facts, LineFacts, SectionFacts},
    law::duty::Window,
};

/// The facts of one decision, with the lines gathered by section, so that two lines on one section see each other.
#[derive(Debug)]
pub(crate) struct Case<'a> {
    pub(crate) facts: &'a Facts,
    pub(crate) sections: Vec<SectionCase<'a>>,
    /// Every season that may refuse this application, to find the first open day.
    pub(crate) windows: Vec<&'a Window>,
}

#[derive(Debug)]
pub(crate) struct SectionCase<'a> {
    pub(crate) section: &'a SectionFacts,
    pub(crate) lines: Vec<&'a LineFacts>,
}

impl<'a> Case<'a> {
    pub(crate) fn new(facts: &'a Facts) -> Self {
        let mut sections: Vec<SectionCase<'a>> = Vec::with_capacity(facts.lines.len());
        for line in &facts.lines {
            match sections.iter_mut().find(|known| known.section.id == line.section.id) {
                Some(known) => known.lines.push(line),
                None => sections.push(SectionCase { section: &line.section, lines: vec![line] }),
            }
        }
        Self { facts, sections, windows: Vec::new() }
    }
}

impl SectionCase<'_> {
    /// `the front lawn`; a name that begins with a capital or a figure stands by itself.
    pub(crate) fn name(&self) -> String {
        let name = &self.section.name;
        if name.starts_with(|first: char| first.is_lowercase()) { format!("the {name}") } else { name.clone() }
    }
}
