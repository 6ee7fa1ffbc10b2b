//! What two readings of the law set as limits over one lawn, day by day: where they differ, since and until when.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{
    book::Lawbook,
    duty::Duty,
    rule_name::RuleName,
    strictest::{self, CapPer, Intent, StrictestCap},
};
use crate::{
    application::{Audience, Purpose},
    equipment::Equipment,
    land::{PropertyKind, Species},
    product::Label,
    time::Day,
};

/// A lawn, as far as the choice of rules depends on it.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct LimitedLawn {
    pub rule_sets: Vec<String>,
    pub audience: Audience,
    pub kind: Option<PropertyKind>,
    pub species: Option<Species>,
}

/// A limit that one reading sets otherwise than the other, over a run of days.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LimitDifference {
    /// What is limited: a nutrient in one application, in a year or in a season; the closed season; the distance from water; the age
    /// of a soil report.
    #[schema(max_length = 120, example = "N in a year")]
    pub what: String,
    pub from: Day,
    /// The last day of this difference, or of the days that were looked at.
    pub until: Day,
    /// Null where there is no such limit.
    #[schema(max_length = 120, example = "at most 3.2 lb per 1,000 sq ft")]
    pub before: Option<String>,
    #[schema(max_length = 120, example = "at most 2.5 lb per 1,000 sq ft")]
    pub after: Option<String>,
    /// The rule that sets it, after the change where it still does.
    pub rule: RuleName,
}

/// What is limited, with its limit in words and the rule that sets it.
type Limits = BTreeMap<String, (String, RuleName)>;

impl LimitedLawn {
    /// Where two readings of the law differ on this lawn, on so many days from one on: for feeding it with a product that holds every
    /// nutrient, by the equipment that gets no shorter distance.
    pub fn differences(&self, before: &Lawbook, after: &Lawbook, from: Day, days: i32) -> Vec<LimitDifference> {
        let mut found: Vec<LimitDifference> = Vec::new();
        for day in (0..days).map(|later| from.plus_days(later)) {
            let (old, new) = (self.on(before, day), self.on(after, day));
            let added = new.keys().filter(|what| !old.contains_key(*what));
            for what in old.keys().chain(added) {
                let (one, two) = (old.get(what), new.get(what));
                if one.map(|(words, _)| words) != two.map(|(words, _)| words) {
                    let Some((_, rule)) = two.or(one) else { continue };
                    let words = |side: Option<&(String, RuleName)>| side.map(|(words, _)| words.clone());
                    let (before, after) = (words(one), words(two));
                    let goes_on = |known: &&mut LimitDifference| {
                        known.until.plus_days(1) == day
                            && (&known.what, &known.before, &known.after) == (what, &before, &after)
                    };
                    match found.iter_mut().find(goes_on) {
                        Some(known) => known.until = day,
                        None => found.push(LimitDifference {
                            what: what.clone(),
                            from: day,
                            until: day,
                            before,
                            after,
                            rule: rule.clone(),
                        }),
                    }
                }
            }
        }
        found
    }

    /// Feeding it with a product, by the equipment that gets no shorter distance.
    pub(super) fn feeding<'l>(&self, label: &'l Label, on: Day) -> Intent<'l> {
        let (purpose, equipment) = (Purpose::Maintenance, Equipment::RotarySpreader);
        Intent { on, audience: self.audience, kind: self.kind, purpose, label, species: self.species, equipment }
    }

    fn on(&self, law: &Lawbook, on: Day) -> Limits {
        let label = Label::with_every_nutrient();
        let intent = self.feeding(&label, on);
        let duties = law.binding(&self.rule_sets, &intent, on);
        let mut caps: Vec<StrictestCap> = Vec::new();
        let mut limits = Limits::new();
        for (rule, duty) in &duties {
            if let Some(cap) = strictest::cap(rule, duty, &intent) {
                strictest::keep_lower(&mut caps, cap);
            }
            if let Duty::Window(window) = duty {
                strictest::lowered(rule, window, &intent).for_each(|cap| strictest::keep_lower(&mut caps, cap));
                if strictest::closes(window, on, &intent) {
                    let closed = ("closed".to_owned(), RuleName(rule.id.clone()));
                    limits.entry("the season".to_owned()).or_insert(closed);
                }
            }
        }
        limits.extend(caps.into_iter().map(cap_words));
        if let Some(found) = strictest::distance(&duties, intent.equipment) {
            let than = if found.distance_allowed { "at least" } else { "more than" };
            let words = format!("{than} {} ft", found.distance_ft);
            limits.insert("the distance from water".to_owned(), (words, found.rule));
        }
        if let Some(found) = strictest::soil_report_months(&duties) {
            let words = format!("at most {} months", found.months);
            limits.insert("the age of a soil report".to_owned(), (words, found.rule));
        }
        limits
    }
}

fn cap_words(cap: StrictestCap) -> (String, (String, RuleName)) {
    let span = match cap.per {
        CapPer::Application => "in one application",
        CapPer::Year => "in a year",
        CapPer::Season => "in the season that lowers it",
    };
    let than = if cap.limit_allowed { "at most" } else { "less than" };
    let words = format!("{than} {} lb per 1,000 sq ft", cap.limit_lb_per_1000_sqft);
    (format!("{} {span}", cap.nutrient.label()), (words, cap.rule))
}
