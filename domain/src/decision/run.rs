//! Runs every rule and gathers what they answer.

use super::{
    answer::{Finding, MESSAGE_LENGTH, MetRule, NUMBER_LENGTH, Verdict},
    section::{Bounds, YearRoom},
};
use crate::{
    facts::Facts,
    ids::SectionId,
    law::{
        Force, Lawbook, Mark, Outside, RuleSet, Stack,
        duty::Duty,
        model::{InForceStatus, Rule, Source, Value},
    },
    rules::{self, Answer, Case, Outcome, alerts, label, pesticide, wind},
    text::truncate_chars,
    time::Day,
};

/// A decision in the making.
pub(super) struct Run<'a> {
    pub(super) stack: Stack<'a>,
    pub(super) case: Case<'a>,
    pub(super) findings: Vec<Finding>,
    met: Vec<MetRule>,
    pub(super) bounds: Bounds<'a>,
    /// Nitrogen left before and after, by section.
    pub(super) rooms: Vec<Option<YearRoom>>,
    /// What left rules of a set out because of the kind of ground.
    pub(super) outside: Vec<(&'a RuleSet, &'a Outside)>,
    /// Sets with rules that depend on a kind of ground that is not known.
    pub(super) asks_kind: Vec<&'a RuleSet>,
}

/// A rule whose turn it is, with the value that holds on the day.
#[derive(Clone, Copy)]
pub(super) struct Turn<'a> {
    pub(super) rule: &'a Rule,
    value: &'a Value,
    pub(super) duty: &'a Duty,
    /// Nothing shows whether the set counts here, so its rules only warn.
    only_warns: bool,
}

impl Turn<'_> {
    pub(super) fn may_refuse(&self) -> bool {
        !self.only_warns && self.rule.may_refuse(self.value)
    }
}

/// Where an answer comes from.
pub(super) struct Origin<'s> {
    pub(super) rule: &'s str,
    pub(super) section: Option<SectionId>,
    pub(super) citation: &'s str,
    pub(super) href: Option<&'s str>,
    pub(super) mark: Mark,
    pub(super) since: Option<Day>,
    pub(super) may_refuse: bool,
}

impl<'a> Run<'a> {
    pub(super) fn new(lawbook: &'a Lawbook, codes: &[String], facts: &'a Facts) -> Self {
        let case = Case::new(facts);
        let bounds = Bounds::new(&case);
        let rooms = vec![None; case.sections.len()];
        Self {
            stack: Stack::of(lawbook, codes),
            case,
            findings: Vec::new(),
            met: Vec::with_capacity(64),
            bounds,
            rooms,
            outside: Vec::new(),
            asks_kind: Vec::new(),
        }
    }

    /// The rules that speak about this application, with what holds on its day. A rule without text for the day is
    /// answered here.
    pub(super) fn turns(&mut self) -> Vec<Turn<'a>> {
        let facts = self.case.facts;
        let mut turns = Vec::with_capacity(64);
        let (mut unread, mut unconcerned) = (Vec::new(), Vec::new());
        let with_phosphorus = facts.label.phosphate_percent.raw() > 0;
        let running = self.stack.sets.iter().filter(|stacked| stacked.force.runs_for(with_phosphorus));
        let rules = running.flat_map(|stacked| {
            let only_warns = matches!(stacked.force, Force::Warns(_));
            let audience = stacked.set.audience(facts.audience, facts.site.kind);
            let binds = move |rule: &&Rule| {
                rule.kind.judges()
                    && rule.binds_work(audience, &facts.label, facts.purpose)
                    && !is_released(rule, facts)
            };
            stacked.set.rules.iter().filter(binds).map(move |rule| (stacked.set, rule, only_warns))
        });
        for (set, rule, only_warns) in rules.collect::<Vec<_>>() {
            let Some(only_warns) = self.reaches(set, rule, only_warns) else { continue };
            match rule.on(facts.on) {
                Some(InForceStatus::InForce(value, duty)) if duty.concerns(&facts.label) => {
                    turns.push(Turn { rule, value, duty, only_warns });
                }
                Some(InForceStatus::Unknown(first))
                    if first.duty.as_ref().is_none_or(|duty| duty.concerns(&facts.label)) =>
                {
                    unread.push((rule, first, only_warns));
                }
                Some(InForceStatus::InForce(value, duty)) => {
                    unconcerned.push(Turn { rule, value, duty, only_warns });
                }
                _ => {}
            }
        }
        for (rule, first, only_warns) in unread {
            self.unread(rule, first, only_warns);
        }
        // The yearly room is shown for every product, also for one that the cap does not concern.
        for turn in unconcerned {
            self.room(turn);
        }
        turns
    }

    fn unread(&mut self, rule: &'a Rule, first: &'a Value, only_warns: bool) {
        let message = format!(
            "No text of this rule was read for {}; the oldest that was read is of {}.",
            self.case.facts.on, first.from
        );
        let answer = Answer::law_unknown(message, "Ask the office what the law was on that day.");
        // What holds only near some waters cannot stop the work while it is in force, nor before.
        let some_waters = first.duty.as_ref().is_some_and(Duty::is_of_some_ground);
        let may_refuse = !only_warns && !some_waters && rule.may_refuse(first);
        let origin = Origin { since: None, may_refuse, ..Origin::of(rule, first, None) };
        if may_refuse {
            self.bounds.forbid(None, &rule.id, &answer.message);
        }
        self.push(&origin, answer);
    }

    pub(super) fn take(&mut self, turn: Turn<'a>) {
        if let Some(answer) = rules::of_application(turn.rule, turn.duty, &self.case) {
            self.settle(turn, None, answer);
        }
        for at in 0..self.case.sections.len() {
            let Some(section) = self.case.sections.get(at) else { continue };
            if let Some(answer) = rules::of_section(turn.rule, turn.duty, &self.case, section) {
                self.settle(turn, Some(at), answer);
            }
        }
        self.room(turn);
        if turn.may_refuse() {
            self.bounds.lower(&self.case, turn.rule, turn.duty, &turn.value.source);
        }
    }

    /// Files an answer. One that forbids whatever the amount leaves no lawful amount.
    pub(super) fn settle(&mut self, turn: Turn<'a>, at: Option<usize>, answer: Answer) {
        let section = at.and_then(|at| self.case.sections.get(at));
        let section = section.map(|section| section.section.id);
        let origin = Origin { may_refuse: turn.may_refuse(), ..Origin::of(turn.rule, turn.value, section) };
        let forbids = origin.verdict(&answer) == Verdict::Stop && !rules::sets_amount(turn.duty);
        if forbids || (origin.verdict(&answer) == Verdict::Stop && self.no_amount(turn, at)) {
            self.bounds.forbid(at, &turn.rule.id, &answer.message);
        }
        self.push(&origin, answer);
    }

    /// Whether a rule on amounts refuses here for a reason that no amount mends.
    fn no_amount(&self, turn: Turn<'a>, at: Option<usize>) -> bool {
        let section = at.and_then(|at| self.case.sections.get(at));
        section.is_some_and(|section| {
            let mut lines = section.lines.iter();
            lines.any(|line| rules::largest(turn.rule, turn.duty, &self.case, section, line).is_none())
        })
    }

    fn room(&mut self, turn: Turn<'a>) {
        if !turn.may_refuse() {
            return;
        }
        for (section, room) in self.case.sections.iter().zip(&mut self.rooms) {
            let Some((before, after)) = rules::nitrogen_room(&turn.rule.scope, turn.duty, &self.case, section) else {
                continue;
            };
            *room = Some(room.map_or((before, after), |(b, a)| (b.min(before), a.min(after))));
        }
    }

    /// What label and practice say of the hour's heat and wind, watches and warnings.
    pub(super) fn label_weather(&mut self) {
        let practice = [
            (wind::PRACTICE, wind::PRACTICE_CITATION, Mark::Memory, wind::by_practice(&self.case)),
            (alerts::PRACTICE, wind::PRACTICE_CITATION, Mark::Memory, alerts::by_practice(&self.case)),
        ];
        let label = [
            (label::AIR_TEMPERATURE, label::CITATION, Mark::Own, label::air_temperature(&self.case)),
            (wind::LABEL, label::CITATION, Mark::Own, wind::by_label(&self.case)),
        ];
        for (rule, citation, mark, answer) in label.into_iter().chain(practice) {
            let Some(answer) = answer else { continue };
            let may_refuse = mark == Mark::Own;
            let origin = Origin { rule, section: None, citation, href: None, mark, since: None, may_refuse };
            if origin.verdict(&answer) == Verdict::Stop {
                self.bounds.forbid(None, rule, &answer.message);
            }
            self.push(&origin, answer);
        }
    }

    pub(super) fn label(&mut self) {
        let origin = |rule, section| Origin {
            rule,
            section,
            citation: label::CITATION,
            href: None,
            mark: Mark::Own,
            since: None,
            may_refuse: true,
        };
        self.label_weather();
        for at in 0..self.case.sections.len() {
            let Some(section) = self.case.sections.get(at) else { continue };
            let Some(answer) = label::product_rate(&self.case, section) else { continue };
            let origin = origin(label::PRODUCT_RATE, Some(section.section.id));
            self.push(&origin, answer);
        }
        self.bounds.lower_to_label(&self.case);
        self.pesticide();
    }

    /// What the label of a combination product binds beside.
    fn pesticide(&mut self) {
        for (rule, answer) in pesticide::of_application(&self.case) {
            self.push(&of_pesticide(rule, None), answer);
        }
        for at in 0..self.case.sections.len() {
            let Some(section) = self.case.sections.get(at) else { continue };
            let id = section.section.id;
            for (rule, answer) in pesticide::of_section(&self.case, section) {
                let origin = of_pesticide(rule, Some(id));
                if origin.verdict(&answer) == Verdict::Stop {
                    self.bounds.forbid(Some(at), rule, &answer.message);
                }
                self.push(&origin, answer);
            }
        }
    }

    /// Whether no rule has answered yet.
    pub(super) const fn said_nothing(&self) -> bool {
        self.findings.is_empty() && self.met.is_empty()
    }

    /// What was answered so far, the gravest first.
    pub(super) fn into_answers(mut self) -> (Vec<Finding>, Vec<MetRule>) {
        // The sort is stable: what is equally grave stays in the order of the rule sets.
        self.findings.sort_by_key(|finding| (std::cmp::Reverse(finding.verdict), gravity(finding.outcome)));
        (self.findings, self.met)
    }

    pub(super) fn push(&mut self, origin: &Origin<'_>, answer: Answer) {
        let verdict = origin.verdict(&answer);
        let number = |text: Option<String>| {
            text.map(|text| if text.len() > NUMBER_LENGTH { truncate_chars(&text, NUMBER_LENGTH) } else { text })
        };
        if answer.outcome == Outcome::Met {
            self.met.push(MetRule {
                rule: origin.rule.to_owned(),
                section_id: origin.section,
                limit: number(answer.limit),
                actual: number(answer.actual),
                unit: answer.unit.map(std::borrow::Cow::into_owned),
                citation: origin.citation.to_owned(),
            });
            return;
        }
        let key = origin.section.map_or_else(|| origin.rule.to_owned(), |id| format!("{}@{id}", origin.rule));
        self.findings.push(Finding {
            key,
            rule: origin.rule.to_owned(),
            section_id: origin.section,
            outcome: answer.outcome,
            verdict,
            message: truncate_chars(&answer.message, MESSAGE_LENGTH),
            limit: number(answer.limit),
            actual: number(answer.actual),
            unit: answer.unit.map(std::borrow::Cow::into_owned),
            citation: origin.citation.to_owned(),
            href: origin.href.map(str::to_owned),
            mark: origin.mark,
            since: origin.since,
            hint: truncate_chars(&answer.hint, MESSAGE_LENGTH),
        });
    }
}

fn of_pesticide(rule: &str, section: Option<SectionId>) -> Origin<'_> {
    let citation = pesticide::citation(rule);
    Origin { rule, section, citation, href: None, mark: Mark::Own, since: None, may_refuse: true }
}

/// Whether the applicator holds, on the day of application, the credential that frees its holder from a rule.
fn is_released(rule: &Rule, facts: &Facts) -> bool {
    rule.unless_credential.as_ref().is_some_and(|code| facts.credentials.iter().any(|held| held.is(code, facts.on)))
}

impl<'s> Origin<'s> {
    pub(super) fn of(rule: &'s Rule, value: &'s Value, section: Option<SectionId>) -> Self {
        let Source { citation, href, mark, .. } = &value.source;
        Self {
            rule: &rule.id,
            section,
            citation,
            href: href.as_deref(),
            mark: *mark,
            since: Some(value.from),
            may_refuse: rule.may_refuse(value),
        }
    }

    /// What an answer is worth: a rule from memory or a recommendation only warns.
    fn verdict(&self, answer: &Answer) -> Verdict {
        match answer.outcome {
            Outcome::Met => Verdict::Go,
            Outcome::Care => Verdict::Care,
            Outcome::Broken | Outcome::Unknown if !self.may_refuse => Verdict::Care,
            Outcome::Unknown if answer.to_be_seen => Verdict::Care,
            Outcome::Broken | Outcome::Unknown => Verdict::Stop,
        }
    }
}

const fn gravity(outcome: Outcome) -> u8 {
    match outcome {
        Outcome::Broken => 0,
        Outcome::Unknown => 1,
        Outcome::Care => 2,
        Outcome::Met => 3,
    }
}
