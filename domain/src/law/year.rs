//! The yearly caps that a statement shows: those that bind this ground and whoever works there.

use serde::{Deserialize, Serialize};

use super::{
    book::Lawbook,
    comparator::Comparator,
    duties::{self, BindingRule, Bound},
    duty::{Amount, CapYear, Counts, Duty},
    mark::Mark,
    model::{InForceStatus, Rule},
    nutrient::Nutrient,
    scope::Scope,
    stack::Stack,
};
use crate::{
    land::Species,
    quantity::NutrientRate,
    text::{list, truncate_chars},
    time::Day,
};

/// A yearly cap and who set it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct YearCap {
    #[schema(max_length = 120, example = "us-md.nitrogen.total.year")]
    pub rule: String,
    #[schema(max_length = 60, example = "us-md")]
    pub rule_set: String,
    /// What it limits.
    pub nutrient: Nutrient,
    pub limit_lb_per_1000_sqft: NutrientRate,
    /// Whether the limit itself is allowed, or only less.
    pub limit_allowed: bool,
    /// The products and purposes that are held to it, in words; null when all are. Whatever went down counts against it.
    #[schema(max_length = 300)]
    pub only_for: Option<String>,
    /// Recommended only: going past it warns and is not refused.
    pub advice: bool,
    #[schema(max_length = 400)]
    pub citation: String,
    #[schema(max_length = 600)]
    pub href: Option<String>,
    pub mark: Mark,
}

/// A yearly cap against which only some of what lies on a lawn counts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartialCap {
    pub rule: String,
    /// The name of the place that set it.
    pub place: String,
    pub nutrient: Nutrient,
}

impl Lawbook {
    /// The tightest yearly cap on total nitrogen of every product, in the stacked sets on a day. Without a recorded species
    /// the lowest number of a table by species counts, since it certainly suffices.
    pub fn tightest_year_cap(
        &self,
        codes: &[String],
        species: Option<Species>,
        bound: impl Into<Bound>,
        day: Day,
    ) -> Option<YearCap> {
        let stack = Stack::of(self, codes);
        let bound = bound.into();
        let of_the_lawn = duties::binding_rules(&stack, bound, day).filter(|found| found.rule.scope.is_of_the_lawn());
        let caps = of_the_lawn.filter_map(|found| cap(&found, species, day));
        let nitrogen = caps.filter(|cap| cap.nutrient == Nutrient::NitrogenTotal);
        nitrogen.min_by_key(|cap| (cap.limit_lb_per_1000_sqft, cap.limit_allowed))
    }

    /// Every yearly cap against which all that lies on a lawn counts, nutrient by nutrient, the tightest of each first.
    pub fn year_caps(
        &self,
        codes: &[String],
        species: Option<Species>,
        bound: impl Into<Bound>,
        day: Day,
    ) -> Vec<YearCap> {
        let stack = Stack::of(self, codes);
        let mut caps: Vec<YearCap> =
            duties::binding_rules(&stack, bound.into(), day).filter_map(|found| cap(&found, species, day)).collect();
        caps.sort_by_key(|cap| (place(cap.nutrient), cap.limit_lb_per_1000_sqft, cap.limit_allowed));
        caps
    }

    /// Yearly caps against which only some of what lies on a lawn counts, so that they are not held against all of it.
    pub fn year_caps_on_some(&self, codes: &[String], bound: impl Into<Bound>, day: Day) -> Vec<PartialCap> {
        let stack = Stack::of(self, codes);
        let partial = |found: BindingRule<'_>| {
            let nutrient = some_counted(found.rule, day)?;
            Some(PartialCap { rule: found.rule.id.clone(), place: found.set.about.name.clone(), nutrient })
        };
        duties::binding_rules(&stack, bound.into(), day).filter_map(partial).collect()
    }
}

/// Nitrogen stands first, as it does everywhere.
const fn place(nutrient: Nutrient) -> u8 {
    match nutrient {
        Nutrient::NitrogenTotal => 0,
        Nutrient::NitrogenQuick => 1,
        Nutrient::NitrogenSlow => 2,
        Nutrient::Phosphate => 3,
        Nutrient::Phosphorus => 4,
        Nutrient::Potash => 5,
        Nutrient::AnyFertilizer => 6,
    }
}

fn cap(found: &BindingRule<'_>, species: Option<Species>, day: Day) -> Option<YearCap> {
    let rule = found.rule;
    if some_counted(rule, day).is_some() {
        return None;
    }
    let InForceStatus::InForce(value, Duty::CapYear(duty)) = rule.on(day)? else { return None };
    let named = list(&rule.scope.parts(), Clone::clone, "and");
    Some(YearCap {
        rule: rule.id.clone(),
        rule_set: found.set.about.code.clone(),
        nutrient: duty.nutrient,
        limit_lb_per_1000_sqft: limit(duty, species)?,
        limit_allowed: duty.comparator == Comparator::AtMost,
        only_for: (rule.scope != Scope::default()).then(|| truncate_chars(&named, 300)),
        advice: found.only_warns || !rule.may_refuse(value),
        citation: value.source.citation.clone(),
        href: value.source.href.clone(),
        mark: value.source.mark,
    })
}

/// What it limits, if it counts only the products that it is about. A statement adds up all that lies on a lawn, which is not what such
/// a cap limits.
fn some_counted(rule: &Rule, day: Day) -> Option<Nutrient> {
    let InForceStatus::InForce(_, Duty::CapYear(duty)) = rule.on(day)? else { return None };
    (rule.scope != Scope::default() && duty.counts == Counts::WithinScope).then_some(duty.nutrient)
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
    use crate::{application::Audience, facts::SiteFacts, land::PropertyKind};

    fn codes(codes: &[&str]) -> Vec<String> {
        codes.iter().map(|code| (*code).to_owned()).collect()
    }

    fn on() -> Day {
        Day::new(2026, 9, 15).expect("a day")
    }

    /// Rule and limit of the tightest cap for those who work so on ground of a kind.
    fn binds(sets: &[&str], audience: Audience, kind: PropertyKind, plan_on: Option<Day>) -> Option<(String, String)> {
        let law = Lawbook::embedded().expect("the built-in rule sets read");
        let site = SiteFacts { kind: Some(kind), plan_on, ..SiteFacts::LAWN };
        let bound = Bound { audience, site: Some(site), pesticide: false };
        let cap = law.tightest_year_cap(&codes(sets), Some(Species::TallFescue), bound, on())?;
        Some((cap.rule, cap.limit_lb_per_1000_sqft.to_string()))
    }

    fn cap(sets: &[&str], species: Option<Species>) -> Option<String> {
        let law = Lawbook::embedded().expect("the built-in rule sets read");
        let cap = law.tightest_year_cap(&codes(sets), species, Audience::Professional, on());
        cap.map(|cap| cap.limit_lb_per_1000_sqft.to_string())
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

    #[test]
    fn the_cap_shown_binds_this_ground_and_those_who_work_there() {
        let suffolk = |kind| binds(&["us-ny", "us-ny-suffolk"], Audience::Professional, kind, None);
        // Suffolk County's 3 lb a year are golf courses' alone (row NY-24).
        assert_eq!(suffolk(PropertyKind::Lawn), None);
        assert_eq!(suffolk(PropertyKind::GolfCourse), Some(("us-ny-suffolk.golf".to_owned(), "3".to_owned())));
        // New Jersey leaves golf courses out (row NJ-21); its 4.25 lb are a professional's (row NJ-11).
        let jersey = |kind| binds(&["us-nj"], Audience::Professional, kind, None).map(|(rule, _)| rule);
        assert_eq!(jersey(PropertyKind::GolfCourse), None);
        assert_eq!(jersey(PropertyKind::Lawn).as_deref(), Some("us-nj.professional.nitrogen.total.year"));
        // In Maryland those who do not work for hire have their own (rows MD-07 to MD-09, MD-29).
        let maryland = |audience| binds(&["us-md"], audience, PropertyKind::Lawn, None).map(|(rule, _)| rule);
        assert_eq!(maryland(Audience::Professional).as_deref(), Some("us-md.professional.nitrogen.total.year"));
        assert_eq!(maryland(Audience::Household).as_deref(), Some("us-md.household.nitrogen.total.year"));
        assert_eq!(maryland(Audience::OwnGround).as_deref(), Some("us-md.household.nitrogen.total.year"));
    }

    #[test]
    fn caps_on_phosphate_are_among_all_caps() {
        let all = |sets: &[&str]| -> Vec<(String, &'static str, String, Option<String>)> {
            let law = Lawbook::embedded().expect("the built-in rule sets read");
            let bound = Bound { audience: Audience::Professional, site: Some(SiteFacts::LAWN), pesticide: false };
            let caps = law.year_caps(&codes(sets), Some(Species::TallFescue), bound, on());
            let told = caps.into_iter();
            told.map(|cap| (cap.rule, cap.nutrient.label(), cap.limit_lb_per_1000_sqft.to_string(), cap.only_for))
                .collect()
        };
        let whole = |rule: &str, nutrient, limit: &str| (rule.to_owned(), nutrient, limit.to_owned(), None);
        // Sarasota County: 4 lb N and 0.5 lb P2O5 a year (row FL-24).
        let sarasota = all(&["us-fl-sarasota"]);
        assert_eq!(sarasota[0], whole("us-fl-sarasota.nitrogen.total.year", "N", "4"));
        assert_eq!(sarasota[1], whole("us-fl-sarasota.phosphorus.year", "P2O5", "0.5"));
        // Orange County: 0.5 lb P2O5 a year (row FL-22).
        assert!(all(&["us-fl-orange"]).contains(&whole("us-fl-orange.phosphorus.year", "P2O5", "0.5")));
        // The District: 0.5 lb P2O5 a year by a low-phosphorus fertilizer, but for establishment (row DC-09).
        let district = all(&["us-dc"]);
        let low = district.iter().find(|cap| cap.0 == "us-dc.phosphorus.low.year").expect("the cap");
        assert_eq!(low.3.as_deref(), Some("feeding an established lawn or repair of turf"));
        // Marion County counts what is put down to establish turf alone (row FL-23), which is not all that lies there.
        let law = Lawbook::embedded().expect("the built-in rule sets read");
        let some = law.year_caps_on_some(&codes(&["us-fl-marion"]), Audience::Professional, on());
        let [starter] = some.as_slice() else { panic!("{some:?}") };
        assert_eq!(starter.rule, "us-fl-marion.phosphorus.starter.year");
        assert_eq!((starter.place.as_str(), starter.nutrient), ("Marion County, Florida", Nutrient::Phosphate));
        assert!(!all(&["us-fl-marion"]).iter().any(|cap| cap.0 == starter.rule));
    }
}
