//! What a rule is asked about.

use std::borrow::Cow;

use crate::{
    facts::{Facts, LineFacts, PastApplication, SectionFacts},
    law::duty::{AlertBar, Window},
    parts::{Piece, pieces},
};

/// The facts of one decision, with the lines gathered by section, so that two lines on one section see each other.
#[derive(Debug)]
pub(crate) struct Case<'a> {
    pub(crate) facts: &'a Facts,
    pub(crate) sections: Vec<SectionCase<'a>>,
    /// Every season that may refuse this application, to find the first open day.
    pub(crate) windows: Vec<&'a Window>,
    /// What the rules on watches and warnings name that speak here.
    pub(crate) alert_bars: Vec<&'a AlertBar>,
}

/// A section with what lies on it, or one piece of its ground with what may lie there.
#[derive(Debug)]
pub(crate) struct SectionCase<'a> {
    pub(crate) section: &'a SectionFacts,
    pub(crate) lines: Vec<&'a LineFacts>,
    /// What was put down or is held there.
    pub(crate) past: Cow<'a, [PastApplication]>,
    /// The pieces of ground that the lines lie on, where not everything lies upon one another.
    pieces: Vec<SectionCase<'a>>,
    /// What the parts are called that the piece lies in.
    parts: Vec<&'a str>,
}

impl<'a> Case<'a> {
    pub(crate) fn new(facts: &'a Facts) -> Self {
        let mut sections: Vec<SectionCase<'a>> = Vec::with_capacity(facts.lines.len());
        for line in &facts.lines {
            match sections.iter_mut().find(|known| known.section.id == line.section.id) {
                Some(known) => known.lines.push(line),
                None => sections.push(SectionCase::of(&line.section, vec![line])),
            }
        }
        for section in &mut sections {
            section.tell_apart();
        }
        Self { facts, sections, windows: Vec::new(), alert_bars: Vec::new() }
    }
}

impl<'a> SectionCase<'a> {
    fn of(section: &'a SectionFacts, lines: Vec<&'a LineFacts>) -> Self {
        Self { section, lines, past: Cow::Borrowed(&section.past), pieces: Vec::new(), parts: Vec::new() }
    }

    fn tell_apart(&mut self) {
        let past = self.section.past.iter().map(|entry| entry.parts);
        let told: Vec<_> = self.lines.iter().map(|line| line.parts).chain(past).collect();
        if told.iter().any(Option::is_some) {
            self.pieces = pieces(told).iter().map(|piece| self.piece(piece)).collect();
            self.pieces.retain(|piece| !piece.lines.is_empty());
        }
    }

    fn piece(&self, piece: &Piece) -> Self {
        let past = self.section.past.iter().filter(|entry| piece.may_hold(entry.parts)).copied();
        let named = piece.parts().iter().filter_map(|parts| {
            let division = self.section.divisions.iter().find(|known| known.number == parts.division)?;
            division.named(parts.mask).next().map(|part| part.name.as_str())
        });
        Self {
            lines: self.lines.iter().copied().filter(|line| piece.may_hold(line.parts)).collect(),
            past: Cow::Owned(past.collect()),
            parts: named.collect(),
            ..Self::of(self.section, Vec::new())
        }
    }

    /// The pieces of ground that are judged each by itself: the section as a whole, where everything lies upon one another.
    pub(crate) fn grounds(&self) -> &[Self] {
        if self.pieces.is_empty() { std::slice::from_ref(self) } else { &self.pieces }
    }

    /// Whether a line lies on it.
    pub(crate) fn holds(&self, line: &LineFacts) -> bool {
        self.lines.iter().any(|known| std::ptr::eq(*known, line))
    }

    /// `the front lawn`; a name that begins with a capital or a figure stands by itself. A piece of it names its part.
    pub(crate) fn name(&self) -> String {
        let name = &self.section.name;
        let name =
            if name.starts_with(|first: char| first.is_lowercase()) { format!("the {name}") } else { name.clone() };
        if self.parts.is_empty() { name } else { format!("{name} ({})", self.parts.join(", ")) }
    }
}
