//! The yearly nitrogen cap that a statement shows: the tightest that binds whoever works for hire.

use serde::{Deserialize, Serialize};

use super::{
    book::Lawbook,
    comparator::Comparator,
    duty::{Amount, CapYear, Counts, Duty},
    kind::BoundParty,
    mark::Mark,
    model::{InForceStatus, Rule},
    nutrient::Nutrient,
    scope::Scope,
    stack::{Force, Stack},
};
use crate::{application::Audience, land::Species, quantity::NutrientRate, time::Day};

/// A yearly cap and who set it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct YearCap {
    #[schema(max_length = 120, example = "us-md.nitrogen.total.year")]
    pub rule: String,
    #[schema(max_length = 60, example = "us-md")]
    pub rule_set: String,
    pub limit_lb_per_1000_sqft: NutrientRate,
    /// Whether the limit itself is allowed, or only less.
    pub limit_allowed: bool,
    /// Recommended only: going past it warns and is not refused.
    pub advice: bool,
    #[schema(max_length = 400)]
    pub citation: String,
    #[schema(max_length = 600)]
    pub href: Option<String>,
    pub mark: Mark,
}

impl Lawbook {
    /// The tightest yearly cap on total nitrogen of every product, in the stacked sets on a day. Without a recorded species
    /// the lowest number of a table by species counts, since it certainly suffices.
    pub fn tightest_year_cap(&self, codes: &[String], species: Option<Species>, day: Day) -> Option<YearCap> {
        let stack = Stack::of(self, codes);
        let running = stack.sets.iter().filter(|stacked| stacked.force.may_run());
        let caps = running.flat_map(|stacked| {
            let only_warns = matches!(stacked.force, Force::Warns(_));
            let rules = stacked.set.rules.iter();
            rules.filter_map(move |rule| {
                let cap = cap(&stacked.set.about.code, rule, species, day)?;
                Some(YearCap { advice: cap.advice || only_warns, ..cap })
            })
        });
        caps.min_by_key(|cap| (cap.limit_lb_per_1000_sqft, cap.limit_allowed))
    }
}

fn cap(set: &str, rule: &Rule, species: Option<Species>, day: Day) -> Option<YearCap> {
    if rule.binds != BoundParty::Applicator
        || !rule.audience.contains(&Audience::Professional)
        || !rule.scope.is_of_the_lawn()
        || (counts_some(rule, day) && rule.scope != Scope::default())
    {
        return None;
    }
    let InForceStatus::InForce(value, Duty::CapYear(duty)) = rule.on(day)? else { return None };
    if duty.nutrient != Nutrient::NitrogenTotal {
        return None;
    }
    Some(YearCap {
        rule: rule.id.clone(),
        rule_set: set.to_owned(),
        limit_lb_per_1000_sqft: limit(duty, species)?,
        limit_allowed: duty.comparator == Comparator::AtMost,
        advice: !rule.may_refuse(value),
        citation: value.source.citation.clone(),
        href: value.source.href.clone(),
        mark: value.source.mark,
    })
}

/// Whether it counts only the products that it is about. A statement adds up all that lies on a lawn, which is not what such a cap
/// limits.
fn counts_some(rule: &Rule, day: Day) -> bool {
    matches!(rule.on(day), Some(InForceStatus::InForce(_, Duty::CapYear(duty))) if duty.counts == Counts::WithinScope)
}

fn limit(duty: &CapYear, species: Option<Species>) -> Option<NutrientRate> {
    match (&duty.amount, species) {
        (Amount::One(rate), _) => Some(*rate),
        // Whether the section fronts on water is no fact here, so the lower of the two is shown.
        (Amount::ByWaterfront { waterfront, elsewhere }, _) => Some(*waterfront.min(elsewhere)),
        (Amount::BySpecies(rates), None) => rates.iter().map(|(_, rate)| *rate).min(),
        (Amount::BySpecies(rates), Some(species)) => {
            rates.iter().find(|(known, _)| *known == species).map(|(_, rate)| *rate)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cap(codes: &[&str], species: Option<Species>) -> Option<String> {
        let law = Lawbook::embedded().expect("the built-in rule sets read");
        let codes: Vec<String> = codes.iter().map(|code| (*code).to_owned()).collect();
        let day = Day::new(2026, 9, 15).expect("a day");
        law.tightest_year_cap(&codes, species, day).map(|cap| cap.limit_lb_per_1000_sqft.to_string())
    }

    #[test]
    fn the_cap_shown_is_that_of_the_place_and_the_species() {
        // Pinellas County ch. 58 art. XIII: 4 lb N on 1,000 sq ft a year (nutrient-law row FL-20).
        assert_eq!(cap(&["us-fl-pinellas"], None).as_deref(), Some("4"));
        // University of Maryland schedule: fine fescue 1.4, tall fescue 2.7 (rows MD-07, MD-09).
        assert_eq!(cap(&["us-md"], Some(Species::FineFescue)).as_deref(), Some("1.4"));
        assert_eq!(cap(&["us-md"], Some(Species::TallFescue)).as_deref(), Some("2.7"));
        // New York's act sets no nitrogen cap (row NY-10).
        assert_eq!(cap(&["us-ny"], Some(Species::TallFescue)), None);
    }
}
