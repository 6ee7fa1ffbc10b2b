//! The duties that judge no application, worked out: what a record must hold, how long it is kept, which reports are due.

use serde::{Deserialize, Serialize};

use super::{
    book::Lawbook,
    disclosure::{CountsFrom, DisclosureDuty, RecordField},
    duty::Duty,
    kind::BoundParty,
    mark::Mark,
    model::{InForceStatus, Rule, RuleSet, Value},
    reach::Reach,
    stack::{Force, Stack},
};
use crate::{application::Audience, facts::SiteFacts, quantity::Area, time::Day};

/// Whom and which ground duties are asked for. Without a site they are those of any ground.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bound {
    pub audience: Audience,
    pub site: Option<SiteFacts>,
    /// Whether the product is a pesticide, too. Duties of pesticides alone are left out otherwise.
    pub pesticide: bool,
}

impl From<Audience> for Bound {
    fn from(audience: Audience) -> Self {
        Self { audience, site: None, pesticide: false }
    }
}

/// Where a duty is written.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct DutySource {
    #[schema(max_length = 120, example = "us-md.retention")]
    pub rule: String,
    #[schema(max_length = 400)]
    pub citation: String,
    #[schema(max_length = 600)]
    pub href: Option<String>,
    pub mark: Mark,
}

/// One thing that a record must hold.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct RequiredField {
    pub field: RecordField,
    /// The field in words.
    #[schema(max_length = 120)]
    pub words: String,
    pub source: DutySource,
}

/// How long a record of an application is kept at least.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct KeptUntil {
    /// The last day on which it must still be there.
    #[schema(value_type = crate::time::reckoned::ComputedDay)]
    pub until: Day,
    #[schema(minimum = 1, maximum = 1000)]
    pub years: u16,
    pub source: DutySource,
}

/// A report that is due for a calendar year.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct ReportDue {
    /// The last day on which it may come in.
    #[schema(value_type = crate::time::reckoned::ComputedDay)]
    pub due: Day,
    /// What is reported, to whom and by whom, in one sentence.
    #[schema(max_length = 600)]
    pub words: String,
    pub source: DutySource,
}

impl Lawbook {
    /// Everything that a record of an application on a day must hold: the union of what the stacked sets name. A field that
    /// several name is cited from the widest place.
    pub fn record_fields(&self, codes: &[String], bound: impl Into<Bound>, day: Day) -> Vec<RequiredField> {
        let mut fields: Vec<RequiredField> = Vec::new();
        for (rule, value, duty) in self.disclosures(codes, bound, day) {
            let DisclosureDuty::RecordFields(named) = duty else { continue };
            for field in named.iter().filter(|field| !field.is_met_by(&chosen(&fields))).copied().collect::<Vec<_>>() {
                let source = DutySource::of(rule, value);
                fields.push(RequiredField { field, words: field.label().to_owned(), source });
            }
        }
        fields.sort_by_key(|required| required.field);
        fields
    }

    /// What a record still lacks.
    pub fn missing_fields(
        &self,
        codes: &[String],
        bound: impl Into<Bound>,
        day: Day,
        written: &[RecordField],
    ) -> Vec<RequiredField> {
        let required = self.record_fields(codes, bound, day);
        required.into_iter().filter(|required| !required.field.is_met_by(written)).collect()
    }

    /// Until when a record of an application is kept: the longest that any text asks which held on a day from the
    /// application to today. A text that was read only for a later day counts as well, since nothing shows that an earlier
    /// one asked less. Nothing when no set asks it, which does not mean that records may go.
    pub fn kept_until(
        &self,
        codes: &[String],
        bound: impl Into<Bound>,
        applied_on: Day,
        today: Day,
    ) -> Option<KeptUntil> {
        let stack = Stack::of(self, codes);
        let rules = binding(&stack, bound.into(), applied_on);
        let held = rules.flat_map(|rule| {
            let ends = rule.values.iter().skip(1).map(|next| Some(next.from)).chain([None]);
            let values = rule.values.iter().zip(ends);
            let held = values.filter(move |(value, end)| value.from <= today && end.is_none_or(|end| end > applied_on));
            held.filter_map(move |(value, _)| match &value.duty {
                Some(Duty::Disclosure(DisclosureDuty::Retention(kept)))
                    if kept.counts_from == CountsFrom::Application =>
                {
                    Some((kept.years, rule, value))
                }
                _ => None,
            })
        });
        let (years, rule, value) = held.max_by_key(|(years, ..)| *years)?;
        let until = applied_on.plus_months(i32::from(years) * 12);
        Some(KeptUntil { until, years, source: DutySource::of(rule, value) })
    }

    /// The reports that are due for a calendar year in which so much ground was treated, by the law of the day after it has
    /// ended, since only then is there something to report.
    pub fn reports_due(&self, codes: &[String], bound: impl Into<Bound>, year: i16, treated: Area) -> Vec<ReportDue> {
        let Ok(over) = Day::new(year + 1, 1, 1) else { return Vec::new() };
        let mut due: Vec<ReportDue> = Vec::new();
        for (rule, value, duty) in self.disclosures(codes, bound, over) {
            let DisclosureDuty::Report(report) = duty else { continue };
            if report.area.is_some_and(|threshold| !threshold.is_reached_by(treated)) {
                continue;
            }
            let (month, date) = report.due;
            let Ok(day) = Day::new(year + 1, month, date).or_else(|_| Day::new(year + 1, month, 28)) else { continue };
            due.push(ReportDue {
                due: day,
                words: format!("{}.", duty.sentence()),
                source: DutySource::of(rule, value),
            });
        }
        due.sort_by_key(|report| report.due);
        due
    }

    /// The duties that judge nothing, as they hold on a day for whoever works there.
    pub(super) fn disclosures<'b>(
        &'b self,
        codes: &[String],
        bound: impl Into<Bound>,
        day: Day,
    ) -> Vec<(&'b Rule, &'b Value, &'b DisclosureDuty)> {
        let named =
            self.binding_on(codes, bound.into(), day).into_iter().filter_map(|(rule, value, duty)| match duty {
                Duty::Disclosure(duty) => Some((rule, value, duty)),
                _ => None,
            });
        named.collect()
    }

    /// Every duty of whoever works there, as it holds on a day.
    pub(super) fn binding_on<'b>(
        &'b self,
        codes: &[String],
        bound: Bound,
        day: Day,
    ) -> Vec<(&'b Rule, &'b Value, &'b Duty)> {
        let stack = Stack::of(self, codes);
        let in_force = binding(&stack, bound, day).filter_map(|rule| match rule.on(day)? {
            InForceStatus::InForce(value, duty) => Some((rule, value, duty)),
            _ => None,
        });
        in_force.collect()
    }
}

/// The rules of the stacked sets that bind somebody who works on this ground. Where a text leaves it out on a condition that
/// nothing shows, the rule stays.
fn binding<'s, 'b: 's>(stack: &'s Stack<'b>, bound: Bound, day: Day) -> impl Iterator<Item = &'b Rule> + 's {
    binding_rules(stack, bound, day).map(|found| found.rule)
}

/// A rule that binds, with its set.
#[derive(Debug, Clone, Copy)]
pub(super) struct BindingRule<'b> {
    pub(super) set: &'b RuleSet,
    pub(super) rule: &'b Rule,
    /// Nothing shows that the rule counts on this ground, so it does not refuse there.
    pub(super) only_warns: bool,
}

/// Likewise, each rule with its set.
pub(super) fn binding_rules<'s, 'b: 's>(
    stack: &'s Stack<'b>,
    bound: Bound,
    day: Day,
) -> impl Iterator<Item = BindingRule<'b>> + 's {
    let running = stack.sets.iter().filter(|stacked| stacked.force.may_run());
    running.flat_map(move |stacked| {
        let set = stacked.set;
        let audience = set.audience(bound.audience, bound.site.and_then(|site| site.kind));
        let set_warns = matches!(stacked.force, Force::Warns(_));
        let found = move |rule: &'b Rule| {
            let reach = bound.site.map_or(Reach::Binds, |site| set.reach_on(rule, &site, day, |_| false));
            let only_warns = match reach {
                Reach::Binds | Reach::KindUnknown { warns: false } => set_warns,
                Reach::Doubtful(_) => true,
                Reach::Elsewhere | Reach::Outside(_) | Reach::KindUnknown { warns: true } => return None,
            };
            Some(BindingRule { set, rule, only_warns })
        };
        let of_product = move |rule: &&Rule| bound.pesticide || rule.scope.pesticide != Some(true);
        let whoever = move |rule: &&Rule| rule.binds == BoundParty::Applicator && rule.binds_audience(audience);
        set.rules.iter().filter(whoever).filter(of_product).filter_map(found)
    })
}

fn chosen(fields: &[RequiredField]) -> Vec<RecordField> {
    fields.iter().map(|required| required.field).collect()
}

impl DutySource {
    pub(super) fn of(rule: &Rule, value: &Value) -> Self {
        Self {
            rule: rule.id.clone(),
            citation: value.source.citation.clone(),
            href: value.source.href.clone(),
            mark: value.source.mark,
        }
    }
}
