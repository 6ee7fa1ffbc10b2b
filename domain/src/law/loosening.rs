//! Whether what is said of a lawn lets more go down on it than what was said before. For whoever looks after a change, not for a
//! decision: those read the law itself.

use super::{
    book::Lawbook,
    duty::{Duty, PhosphorusNeed, Proof},
    limits::LimitedLawn,
    rule_name::RuleName,
    strictest::{self, CapPer, StrictestCap},
};
use crate::{law::nutrient::Nutrient, product::Label, quantity::NutrientRate, soil::SoilCategory, time::Day};

/// What a soil report says of phosphorus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PhosphorusFound {
    pub category: Option<SoilCategory>,
    pub recommended: Option<NutrientRate>,
}

impl PhosphorusNeed {
    /// Whether a report with these words shows a need; nothing where it says neither.
    pub fn shown(&self, found: PhosphorusFound) -> Option<bool> {
        match (self.soil_report, found.recommended) {
            (Proof::Recommendation, Some(rate)) => Some(!rate.is_zero()),
            _ => found.category.map(|category| self.categories.contains(&category)),
        }
    }
}

impl LimitedLawn {
    /// Whether a cap over this lawn is higher than over another, or gone. A species without a number in a table gets nothing by it.
    pub fn is_capped_higher_than(&self, other: &Self, law: &Lawbook, on: Day) -> bool {
        let own = self.caps(law, on);
        other.caps(law, on).iter().any(|theirs| {
            let same = |cap: &&StrictestCap| (cap.nutrient, cap.per) == (theirs.nutrient, theirs.per);
            let strictness = |cap: &StrictestCap| (cap.limit_lb_per_1000_sqft, cap.limit_allowed);
            own.iter().find(same).is_none_or(|cap| strictness(cap) > strictness(theirs))
        })
    }

    fn caps(&self, law: &Lawbook, on: Day) -> Vec<StrictestCap> {
        let label = Label::with_every_nutrient();
        let intent = self.feeding(&label, on);
        let mut caps = Vec::new();
        for (rule, duty) in law.binding(&self.rule_sets, &intent, on) {
            let none = |nutrient: Nutrient, per: CapPer| StrictestCap {
                nutrient,
                per,
                limit_lb_per_1000_sqft: NutrientRate::ZERO,
                limit_allowed: true,
                rule: RuleName(rule.id.clone()),
            };
            let unnumbered = match duty {
                Duty::CapApplication(cap) => Some(none(cap.nutrient, CapPer::Application)),
                Duty::CapYear(cap) => Some(none(cap.nutrient, CapPer::Year)),
                _ => None,
            };
            if let Some(cap) = strictest::cap(rule, duty, &intent).or(unnumbered) {
                strictest::keep_lower(&mut caps, cap);
            }
        }
        caps
    }

    /// Whether a soil report lets more phosphorus down on this lawn than the one before it, or than none.
    pub fn gets_more_phosphorus(
        &self,
        law: &Lawbook,
        on: Day,
        before: Option<PhosphorusFound>,
        after: PhosphorusFound,
    ) -> bool {
        let label = Label::with_every_nutrient();
        let intent = self.feeding(&label, on);
        law.binding(&self.rule_sets, &intent, on).into_iter().any(|(_, duty)| {
            let Duty::PhosphorusNeed(duty) = duty else { return false };
            if duty.soil_report == Proof::Never || duty.shown(after) != Some(true) {
                return false;
            }
            let shown = before.filter(|before| duty.shown(*before) == Some(true));
            shown.is_none_or(|before| duty.up_to_recommended && after.recommended > before.recommended)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{application::Audience, land::PropertyKind, land::Species};

    fn lawn(sets: &[&str], species: Option<Species>) -> LimitedLawn {
        LimitedLawn {
            rule_sets: sets.iter().map(|code| (*code).to_owned()).collect(),
            audience: Audience::Professional,
            kind: Some(PropertyKind::Lawn),
            species,
        }
    }

    fn on() -> Day {
        Day::parse("2026-05-15").expect("a day")
    }

    #[test]
    fn a_species_with_a_higher_cap_is_told_from_one_with_a_lower() {
        let law = Lawbook::embedded().expect("the built-in rule sets read");
        let higher = |sets: &[&str], to: Option<Species>, from: Option<Species>| {
            lawn(sets, to).is_capped_higher_than(&lawn(sets, from), &law, on())
        };
        let (fescue, fine, zoysia) = (Some(Species::TallFescue), Some(Species::FineFescue), Some(Species::Zoysia));
        // University of Maryland schedule: tall fescue 2.7, fine fescue 1.4, zoysia 1.8 lb a year (rows MD-07, MD-09, MD-10).
        assert!(higher(&["us-md"], fescue, zoysia) && higher(&["us-md"], zoysia, fine));
        assert!(!higher(&["us-md"], zoysia, fescue) && !higher(&["us-md"], fescue, fescue));
        // Nobody knowing counts as the lowest of the table, and a species that is not in it as nothing.
        assert!(higher(&["us-md"], fescue, None) && !higher(&["us-md"], fine, None));
        assert!(higher(&["us-md"], fine, Some(Species::Other)) && !higher(&["us-md"], Some(Species::Other), fine));
        // New York's act sets no cap by species (row NY-10).
        assert!(!higher(&["us-ny"], fescue, fine) && !higher(&["us-ny"], fine, fescue));
    }

    #[test]
    fn a_soil_report_that_opens_phosphorus_is_told_from_one_that_does_not() {
        let law = Lawbook::embedded().expect("the built-in rule sets read");
        let found = |category: SoilCategory, rate: Option<&str>| PhosphorusFound {
            category: Some(category),
            recommended: rate.map(|text| NutrientRate::parse(text).expect("a rate")),
        };
        let more = |before, after| lawn(&["us-md"], None).gets_more_phosphorus(&law, on(), before, after);
        let (low, optimum) = (found(SoilCategory::Low, Some("1")), found(SoilCategory::Optimum, Some("0")));
        // COMAR 15.20.10.10 A, B: phosphorus only where the laboratory recommends some, and no more than that (rows MD-20, MD-22).
        assert!(more(None, low) && more(Some(optimum), low));
        assert!(!more(None, optimum) && !more(Some(low), optimum) && !more(Some(low), low));
    }
}
