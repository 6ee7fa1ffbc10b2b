//! A plan as a calendar: a section's round by round, the company's section by section.

use domain::{ids::SectionId, programme::open_days::ClosedDays, time::Day};

use crate::{
    book::season::{self, SectionPlan, SectionPlanSummary},
    pages::{
        figures,
        pictures::calendar::{Calendar, Days, Row, Sign},
    },
    store::{
        programmes::{Programme, lawns::VisitLine},
        settings::DateOrder,
    },
};

/// What a calendar is drawn from beside a plan.
pub struct Drawn<'a> {
    pub programme: &'a Programme,
    /// Visits of the season, a section a line.
    pub visits: &'a [VisitLine],
    pub dates: DateOrder,
    /// The first day that was planned for.
    pub from: Day,
}

/// A row of the table beside a section's calendar.
pub struct CalendarLine {
    pub what: String,
    pub days: String,
    pub binds: String,
}

/// Visits that belong to no round of the programme: they take of the same limits.
const OTHER: &str = "other visits";

impl Drawn<'_> {
    fn span(&self, from: Day, to: Day) -> String {
        if from == to { self.dates.day(from) } else { format!("{} to {}", self.dates.day(from), self.dates.day(to)) }
    }

    fn rounds(&self, name: Option<&str>) -> Vec<Days> {
        let rounds = self.programme.rounds.iter().filter(|round| name.is_none_or(|name| round.name == name));
        let days = |round: &domain::programme::PlanRound| Days {
            from: round.from,
            to: round.to,
            words: format!("{}: {}", round.name, self.span(round.from, round.to)),
        };
        rounds.map(days).collect()
    }

    fn closed(&self, closed: &[ClosedDays]) -> Vec<Days> {
        let words = |days: &ClosedDays| format!("nothing may go down: {}", self.span(days.from, days.to));
        closed.iter().map(|days| Days { from: days.from, to: days.to, words: words(days) }).collect()
    }

    /// The round of the programme that a visit was planned from, if it was.
    fn round_of<'v>(&self, line: &'v VisitLine) -> Option<&'v str> {
        line.of.as_ref().filter(|(id, _)| *id == self.programme.id).map(|(_, name)| name.as_str())
    }

    /// The visits of a section that `meant` picks by their round.
    fn visits(&self, section: SectionId, meant: impl Fn(Option<&str>) -> bool) -> Vec<(Day, Sign, String)> {
        let own = |line: &&VisitLine| line.section_id == section && meant(self.round_of(line));
        let mark = |line: &VisitLine| {
            let (sign, words) =
                if line.open { (Sign::Visit, "a visit stands") } else { (Sign::Done, "a visit was made") };
            (line.planned_on, sign, format!("{words}: {}", self.dates.day(line.planned_on)))
        };
        let mut marks: Vec<_> = self.visits.iter().filter(own).map(mark).collect();
        marks.sort_by_key(|(day, ..)| *day);
        marks
    }

    /// A section's calendar, a line a round.
    pub fn of_section(&self, plan: &SectionPlan) -> (Calendar, Vec<CalendarLine>) {
        let (mut rows, mut lines) = (Vec::new(), Vec::new());
        for round in &self.programme.rounds {
            let planned = plan.rounds.iter().filter(|planned| planned.round == round.name);
            let mut marks: Vec<_> = planned
                .map(|planned| {
                    let (on, lb) = (self.dates.day(planned.on), figures::pounds_at_most(&planned.product_lb).shown);
                    (planned.on, Sign::Planned, format!("planned on {on}: {lb} lb {}", planned.product_name))
                })
                .collect();
            marks.extend(self.visits(plan.section_id, |of| of == Some(round.name.as_str())));
            let left_out = plan.skipped.iter().find(|left| left.round == round.name);
            let note = match (marks.first(), left_out) {
                (Some((_, Sign::Planned, _)), _) => "✓ planned",
                (Some(_), _) => "● in visits",
                (None, Some(_)) => "▲ left out",
                (None, None) => "",
            };
            let said = marks.iter().map(|(_, _, words)| words.clone());
            let said: Vec<String> = said.chain(left_out.map(|left| left.why.clone())).collect();
            lines.push(CalendarLine {
                what: round.name.clone(),
                days: self.span(round.from, round.to),
                binds: said.join("; "),
            });
            rows.push(Row {
                name: round.name.clone(),
                href: None,
                note: note.to_owned(),
                open: self.rounds(Some(&round.name)),
                closed: self.closed(&plan.closed),
                marks,
            });
        }
        let known = |of: Option<&str>| self.programme.rounds.iter().any(|round| Some(round.name.as_str()) == of);
        let marks = self.visits(plan.section_id, |of| !known(of));
        if !marks.is_empty() {
            let binds = marks.iter().map(|(_, _, words)| words.as_str()).collect::<Vec<_>>().join("; ");
            lines.push(CalendarLine { what: OTHER.to_owned(), days: String::new(), binds });
            let closed = self.closed(&plan.closed);
            rows.push(Row { name: OTHER.to_owned(), closed, marks, ..Row::default() });
        }
        lines.extend(plan.closed.iter().map(|days| CalendarLine {
            what: "■ Nothing may go down".to_owned(),
            days: self.span(days.from, days.to),
            binds: days.why.clone(),
        }));
        (Calendar::of(rows, season::calendar_span(self.programme), self.from), lines)
    }

    /// The calendar of some of the company's sections, a line each.
    pub fn of_company(&self, sections: &[SectionPlanSummary], closed: &[Vec<ClosedDays>]) -> Calendar {
        let row = |(section, closed): (&SectionPlanSummary, &Vec<ClosedDays>)| {
            let planned = section.rounds.iter().map(|round| {
                let (on, lb) = (self.dates.day(round.on), figures::pounds_at_most(&round.product_lb).shown);
                (round.on, Sign::Planned, format!("{}: {lb} lb on {on}", round.round))
            });
            Row {
                name: section.section_name.clone(),
                href: Some(format!("/office/sections/{}/plan?programme_id={}", section.section_id, self.programme.id)),
                note: format!("{}, {}", section.address, section.client_name),
                open: self.rounds(None),
                closed: self.closed(closed),
                marks: planned.chain(self.visits(section.section_id, |_| true)).collect(),
            }
        };
        Calendar::of(sections.iter().zip(closed).map(row).collect(), season::calendar_span(self.programme), self.from)
    }

    /// The closed days of a section, as lines of its list.
    pub fn closed_words(&self, closed: &[ClosedDays]) -> Vec<String> {
        closed.iter().map(|days| format!("{}: {}", self.span(days.from, days.to), days.why)).collect()
    }
}
