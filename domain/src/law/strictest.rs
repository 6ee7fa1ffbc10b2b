//! The stacked sets of a place as one answer: of every line the strictest, with the rule it comes from.
//!
//! A decision does not need this, since it asks every rule and lets the gravest answer stand. People do: "what is the least
//! that holds here?" The two must agree, which a test sees to.

use serde::{Deserialize, Serialize};

use super::{
    book::Lawbook,
    comparator::Comparator,
    duties::{Bound, KeptUntil, RequiredField},
    duty::{Amount, Duty, Window, WindowPer},
    kind::RuleKind,
    model::{InForceStatus, Rule, Value},
    nutrient::Nutrient,
    reach::Reach,
    rule_name::RuleName,
    stack::{Force, Stack},
};
use crate::{
    application::{Audience, Purpose},
    equipment::Equipment,
    facts::SiteFacts,
    land::{PropertyKind, Species},
    product::Label,
    quantity::{Distance, NutrientRate},
    time::Day,
};

/// What somebody wants to do, as far as the choice of rules depends on it.
#[derive(Debug, Clone)]
pub struct Intent<'a> {
    pub on: Day,
    pub audience: Audience,
    pub kind: Option<PropertyKind>,
    pub purpose: Purpose,
    pub label: &'a Label,
    pub species: Option<Species>,
    pub equipment: Equipment,
}

/// Of every line the strictest that may refuse. Rules that only warn are not here.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Strictest {
    /// The lowest cap of each nutrient, for one application, for a year and for the season that the day lies in.
    #[schema(max_items = 40)]
    pub caps: Vec<StrictestCap>,
    /// Whether the day lies in a closed season for something the product holds: of every set, since barred days add up.
    #[schema(max_items = 40)]
    pub closed_by: Vec<RuleName>,
    /// The first day from this one on that no set closes for the product; nothing within a year means never.
    #[schema(value_type = Option<crate::time::reckoned::ComputedDay>)]
    pub first_open_day: Option<Day>,
    /// The longest distance from water for the equipment.
    pub distance: Option<StrictestDistance>,
    /// The shortest life of a soil report that opens phosphorus, in months.
    pub soil_report_months: Option<StrictestMonths>,
    /// The longest time that a record of this day is kept.
    pub kept_until: Option<KeptUntil>,
    /// Everything that a record must hold.
    #[schema(max_items = 40)]
    pub record_fields: Vec<RequiredField>,
    /// Rules that may refuse and of which no text was read for the day: what they hold is not in the lines above.
    #[schema(max_items = 200)]
    pub unknown: Vec<RuleName>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct StrictestCap {
    pub nutrient: Nutrient,
    pub per: CapPer,
    pub limit_lb_per_1000_sqft: NutrientRate,
    /// Whether the limit itself is allowed, or only less.
    pub limit_allowed: bool,
    pub rule: RuleName,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CapPer {
    Application,
    Year,
    /// All loads of the season that lowers the cap.
    Season,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct StrictestDistance {
    pub distance_ft: Distance,
    /// Whether the distance itself is far enough, or only more.
    pub distance_allowed: bool,
    pub rule: RuleName,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct StrictestMonths {
    #[schema(minimum = 1, maximum = 65535)]
    pub months: u16,
    pub rule: RuleName,
}

impl StrictestMonths {
    /// The last day of application on which a report of soil that was dug on a day is young enough, as the rules count it.
    pub fn last_day(&self, sampled_on: Day) -> Day {
        super::soil_reports::last_day(sampled_on, self.months)
    }
}

impl Lawbook {
    /// Combines the stacked sets for an intent.
    pub fn strictest(&self, codes: &[String], intent: &Intent<'_>) -> Strictest {
        let duties = self.binding(codes, intent, intent.on);
        let mut caps: Vec<StrictestCap> = Vec::new();
        for (rule, duty) in &duties {
            if let Some(cap) = cap(rule, duty, intent) {
                keep_lower(&mut caps, cap);
            }
            if let Duty::Window(window) = duty {
                lowered(rule, window, intent).for_each(|cap| keep_lower(&mut caps, cap));
            }
        }
        let closes = |duties: &[(&Rule, &Duty)], day: Day| -> Vec<RuleName> {
            let closed =
                duties.iter().filter(|(_, duty)| matches!(duty, Duty::Window(window) if closes(window, day, intent)));
            closed.map(|(rule, _)| name(rule)).collect()
        };
        let open = |later: &i32| {
            let day = intent.on.plus_days(*later);
            closes(&self.binding(codes, intent, day), day).is_empty()
        };
        let bound = Bound { pesticide: intent.label.pesticide().is_some(), ..intent.audience.into() };
        Strictest {
            caps,
            closed_by: closes(&duties, intent.on),
            first_open_day: (0..=366).find(open).map(|later| intent.on.plus_days(later)),
            distance: distance(&duties, intent.equipment),
            soil_report_months: soil_report_months(&duties),
            kept_until: self.kept_until(codes, bound, intent.on, intent.on),
            record_fields: self.record_fields(codes, bound, intent.on),
            unknown: self.unread(codes, intent).into_iter().map(name).collect(),
        }
    }

    /// The longest distance from water that hired work on an established lawn must keep on a day, for a product that holds
    /// every nutrient. The rules that may ask for more and of which no text was read for the day come with it.
    pub fn distance_from_water(
        &self,
        codes: &[String],
        on: Day,
        equipment: Equipment,
    ) -> (Option<StrictestDistance>, Vec<RuleName>) {
        let label = &Label::with_every_nutrient();
        let (audience, purpose) = (Audience::Professional, Purpose::Maintenance);
        let intent = Intent { on, audience, kind: Some(PropertyKind::Lawn), purpose, label, species: None, equipment };
        let unread = self.unread(codes, &intent).into_iter().filter(|rule| rule.kind == RuleKind::Setback).map(name);
        (distance(&self.binding(codes, &intent, on), equipment), unread.collect())
    }

    /// The rules that may refuse, with what they demand on a day.
    pub(super) fn binding<'b>(&'b self, codes: &[String], intent: &Intent<'_>, day: Day) -> Vec<(&'b Rule, &'b Duty)> {
        let duties = self.speaking(codes, intent).into_iter().filter_map(|rule| match rule.on(day)? {
            InForceStatus::InForce(value, duty) if rule.may_refuse(value) && duty.concerns(intent.label) => {
                Some((rule, duty))
            }
            _ => None,
        });
        duties.collect()
    }

    /// The rules that stop the work because no text of them was read for the day. What holds near some waters only cannot.
    fn unread(&self, codes: &[String], intent: &Intent<'_>) -> Vec<&Rule> {
        let stops = |first: &Value| match &first.duty {
            Some(duty) if duty.is_of_some_ground() => false,
            Some(duty) => duty.concerns(intent.label),
            None => true,
        };
        let mut rules = self.speaking(codes, intent);
        rules.retain(|rule| match rule.on(intent.on) {
            Some(InForceStatus::Unknown(first)) => rule.may_refuse(first) && rule.kind.judges() && stops(first),
            _ => false,
        });
        rules
    }

    /// The rules that bind what somebody wants to do, whatever they say on a day.
    fn speaking<'b>(&'b self, codes: &[String], intent: &Intent<'_>) -> Vec<&'b Rule> {
        let with_phosphorus = intent.label.phosphate_percent.raw() > 0;
        let stack = Stack::of(self, codes);
        let running = stack
            .sets
            .iter()
            .filter(|stacked| stacked.force.runs_for(with_phosphorus) && !matches!(stacked.force, Force::Warns(_)));
        let site = SiteFacts { kind: intent.kind, ..SiteFacts::LAWN };
        let rules = running.flat_map(|stacked| {
            let audience = stacked.set.audience(intent.audience, intent.kind);
            let rules = stacked.set.rules.iter();
            rules.filter(move |rule| {
                let reach = stacked.set.reach_on(rule, &site, intent.on, |_| false);
                let reaches = matches!(reach, Reach::Binds | Reach::KindUnknown { warns: false });
                reaches && rule.binds_work(audience, intent.label, intent.purpose)
            })
        });
        rules.collect()
    }
}

fn name(rule: &Rule) -> RuleName {
    RuleName(rule.id.clone())
}

pub(super) fn cap(rule: &Rule, duty: &Duty, intent: &Intent<'_>) -> Option<StrictestCap> {
    let (nutrient, amount, comparator, per) = match duty {
        Duty::CapApplication(cap) => (cap.nutrient, &cap.amount, cap.comparator, CapPer::Application),
        Duty::CapYear(cap) => (cap.nutrient, &cap.amount, cap.comparator, CapPer::Year),
        _ => return None,
    };
    let limit = match (amount, intent.species) {
        (Amount::One(rate), _) => *rate,
        (Amount::ByWaterfront { waterfront, elsewhere }, _) => *waterfront.min(elsewhere),
        (Amount::BySpecies(rates), None) => rates.iter().map(|(_, rate)| *rate).min()?,
        (Amount::BySpecies(rates), Some(species)) => {
            rates.iter().find(|(known, _)| *known == species).map(|(_, rate)| *rate)?
        }
    };
    let limit_allowed = comparator == Comparator::AtMost;
    Some(StrictestCap { nutrient, per, limit_lb_per_1000_sqft: limit, limit_allowed, rule: name(rule) })
}

/// What a season that holds on the day leaves of each nutrient that the product holds. What all its loads together may
/// not pass, one application may not pass either.
pub(super) fn lowered(rule: &Rule, window: &Window, intent: &Intent<'_>) -> impl Iterator<Item = StrictestCap> {
    let spans: &[CapPer] = match (window.holds_on(intent.on), window.per) {
        (false, _) => &[],
        (true, WindowPer::Application) => &[CapPer::Application],
        (true, WindowPer::Window) => &[CapPer::Application, CapPer::Season],
    };
    let held = |(nutrient, rate): &&(Nutrient, NutrientRate)| !rate.is_zero() && nutrient.share(intent.label).raw() > 0;
    let caps = window.caps.iter().filter(held).flat_map(move |(nutrient, rate)| {
        spans.iter().map(|per| StrictestCap {
            nutrient: *nutrient,
            per: *per,
            limit_lb_per_1000_sqft: *rate,
            limit_allowed: true,
            rule: name(rule),
        })
    });
    caps.collect::<Vec<_>>().into_iter()
}

/// Keeps the lower of two caps on the same nutrient and span; of equal numbers the one that does not allow its limit.
pub(super) fn keep_lower(caps: &mut Vec<StrictestCap>, cap: StrictestCap) {
    let strictness = |cap: &StrictestCap| (cap.limit_lb_per_1000_sqft, cap.limit_allowed);
    match caps.iter_mut().find(|known| known.nutrient == cap.nutrient && known.per == cap.per) {
        Some(known) if strictness(&cap) < strictness(known) => *known = cap,
        Some(_) => {}
        None => caps.push(cap),
    }
}

pub(super) fn closes(window: &Window, day: Day, intent: &Intent<'_>) -> bool {
    let barred = window.caps.iter().filter(|(_, rate)| rate.is_zero());
    window.holds_on(day) && barred.into_iter().any(|(nutrient, _)| nutrient.share(intent.label).raw() > 0)
}

pub(super) fn distance(duties: &[(&Rule, &Duty)], equipment: Equipment) -> Option<StrictestDistance> {
    let distances = duties.iter().filter_map(|(rule, duty)| match duty {
        Duty::Setback(setback) if setback.only_where.is_none() => Some(StrictestDistance {
            distance_ft: setback.distance_for(equipment),
            distance_allowed: setback.comparator == Comparator::AtLeast,
            rule: name(rule),
        }),
        _ => None,
    });
    distances.max_by_key(|found| (found.distance_ft, !found.distance_allowed))
}

pub(super) fn soil_report_months(duties: &[(&Rule, &Duty)]) -> Option<StrictestMonths> {
    let months = duties.iter().filter_map(|(rule, duty)| match duty {
        Duty::PhosphorusNeed(need) => need.report_months.map(|months| StrictestMonths { months, rule: name(rule) }),
        _ => None,
    });
    months.min_by_key(|found| found.months)
}
