//! Every rule in turn, and what is not known of the law.

use super::{
    answer::{Decision, Finding, Verdict},
    run::{Run, Turn},
    section,
    summary::summary,
};
use crate::{
    law::{
        RuleSetUsed,
        duty::{AlertBar, Duty},
        kind::RuleKind,
    },
    rules,
};

impl Run<'_> {
    pub(super) fn decide(mut self) -> Decision {
        let turns = self.turns();
        self.case.windows = turns
            .iter()
            .filter_map(|turn| match turn.duty {
                Duty::Window(window) if turn.may_refuse() => Some(window),
                _ => None,
            })
            .collect();
        self.case.alert_bars = alert_bars(&turns);
        for turn in turns {
            self.take(turn);
        }
        self.label();
        self.unknown_law();
        self.coverage_gaps();
        self.ground_kinds();
        let on = self.case.facts.on;
        let sections = section::answers(&self.case, &self.bounds, &self.rooms);
        let rule_sets = self.stack.used();
        let (findings, met) = self.into_answers();
        let verdict = findings.iter().map(|finding| finding.verdict).max().unwrap_or(Verdict::Go);
        Decision { verdict, summary: summary(verdict, &findings), on, findings, met, sections, rule_sets }
    }

    /// Only what the law asks of whoever goes: a certificate. With the rule sets that were asked.
    pub(super) fn decide_certificate(mut self) -> (Vec<Finding>, Vec<RuleSetUsed>) {
        let turns = self.turns();
        let sets = self.stack.sets.iter().flat_map(|stacked| &stacked.set.rules);
        let on_people: Vec<&str> =
            sets.filter(|rule| rule.kind == RuleKind::CredentialNeed).map(|rule| rule.id.as_str()).collect();
        self.findings.retain(|finding| on_people.contains(&finding.rule.as_str()));
        for turn in turns.into_iter().filter(|turn| turn.rule.kind == RuleKind::CredentialNeed) {
            if let Some(answer) = rules::of_application(turn.rule, turn.duty, &self.case) {
                self.settle(turn, None, answer);
            }
        }
        let rule_sets = self.stack.used();
        (self.into_answers().0, rule_sets)
    }

    /// Only what another hour can mend: rain, alerts, heat and wind; and law that is not known, which may be about them.
    pub(super) fn decide_weather(mut self) -> Vec<Finding> {
        let turns = self.turns();
        let sets = self.stack.sets.iter().flat_map(|stacked| &stacked.set.rules);
        let weather: Vec<&str> =
            sets.filter(|rule| rules::is_on_weather(rule.kind)).map(|rule| rule.id.as_str()).collect();
        self.findings.retain(|finding| weather.contains(&finding.rule.as_str()));
        self.case.alert_bars = alert_bars(&turns);
        for turn in turns.into_iter().filter(|turn| rules::is_on_weather(turn.rule.kind)) {
            if let Some(answer) = rules::of_application(turn.rule, turn.duty, &self.case) {
                self.settle(turn, None, answer);
            }
        }
        self.label_weather();
        self.unknown_law();
        self.into_answers().0
    }
}

/// What the rules on watches and warnings name among those that speak.
fn alert_bars<'a>(turns: &[Turn<'a>]) -> Vec<&'a AlertBar> {
    let bars = turns.iter().filter_map(|turn| match turn.duty {
        Duty::Alerts(bar) => Some(bar),
        _ => None,
    });
    bars.collect()
}
