//! From a round of the plan to visits: what is to be planned for the chosen sections on one day.

use std::{
    collections::{BTreeMap, HashSet},
    sync::atomic::{AtomicBool, Ordering},
};

use domain::{
    application::Purpose,
    ids::{PersonId, ProductId, ProgrammeId, PropertyId, SectionId},
    programme::{PlanGoal, PlanProduct},
    quantity::{NutrientRate, ProductMass, ProductRate},
    time::Day,
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{RoundPlan, Season, stops};
use crate::{
    field_fault::truncate_chars,
    store::visits::{Visit, VisitChange, VisitStatus},
};

/// A round, to be planned for sections.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "round": "early autumn", "planned_on": "2026-09-16", "person_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a14",
    "section_ids": ["01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a13"]
}))]
pub struct RoundVisits {
    /// A round of the programme, by its name.
    #[schema(min_length = 1, max_length = 120)]
    pub round: String,
    /// Local day of the visits, within the round. Left out together with who goes, the visits are spread over the days of the round
    /// by what the programme's technicians can do on a day.
    #[serde(default)]
    pub planned_on: Option<Day>,
    /// Who is to go there.
    #[serde(default)]
    pub person_id: Option<PersonId>,
    /// Each once.
    #[schema(min_items = 1, max_items = 200)]
    pub section_ids: Vec<SectionId>,
    /// What the plan makes least of; least cost unless said otherwise.
    #[serde(default)]
    pub aim: Option<PlanGoal>,
}

/// A section for which no visit was planned.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SectionWithoutVisit {
    pub section_id: SectionId,
    #[schema(max_length = 700)]
    pub why: String,
}

/// The visits that were planned, and the sections that were left out.
#[derive(Debug, Serialize, ToSchema)]
pub struct PlannedVisits {
    pub programme_id: ProgrammeId,
    #[schema(max_length = 120)]
    pub round: String,
    /// One for each property and product, by the lowest target of its sections; more where their targets lie more than 5 % apart. Those
    /// of a property are for one day and person as far as the rules let them be.
    #[schema(max_items = 200)]
    pub visits: Vec<Visit>,
    #[schema(max_items = 200)]
    pub left_out: Vec<SectionWithoutVisit>,
}

/// Sections of one visit at most.
const SECTIONS: usize = 20;
/// A target is rounded down to the thousandth of a pound.
const STEP: i64 = 1_000;

/// What a visit states its amount by: nitrogen, or the product itself where there is next to none in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Target {
    Nitrogen(i64),
    Product(i64),
}

impl Target {
    fn of(round: &RoundPlan) -> Option<Self> {
        let rounded = |raw: i64| Some(raw / STEP * STEP).filter(|raw| *raw > 0);
        let nitrogen = rounded(round.nitrogen_lb_per_1000_sqft.raw()).map(Self::Nitrogen);
        nitrogen.or_else(|| rounded(round.product_lb_per_1000_sqft.raw()).map(Self::Product))
    }

    /// Whether a lower target does for it: within 5 % the spreader is set the same. Source: University of Massachusetts Extension,
    /// spreader calibration: accepted within 5 % of the target.
    fn is_served_by(self, lower: Self) -> bool {
        match (lower, self) {
            (Self::Nitrogen(lower), Self::Nitrogen(own)) | (Self::Product(lower), Self::Product(own)) => {
                i128::from(own) * 95 <= i128::from(lower) * 100
            }
            _ => false,
        }
    }

    const fn nitrogen(self) -> Option<NutrientRate> {
        match self {
            Self::Nitrogen(raw) => Some(NutrientRate::from_raw(raw)),
            Self::Product(_) => None,
        }
    }

    const fn product(self) -> Option<ProductRate> {
        match self {
            Self::Product(raw) => Some(ProductRate::from_raw(raw)),
            Self::Nitrogen(_) => None,
        }
    }
}

/// What visits are for.
type Of = (Day, PersonId, PropertyId, ProductId);

/// Sections by the targets of their visits. What a section gets may be less than its plan has, never more.
fn alike(mut lines: Vec<(Target, SectionId)>) -> Vec<(Target, Vec<SectionId>)> {
    lines.sort_by_key(|(target, _)| *target);
    let mut visits: Vec<(Target, Vec<SectionId>)> = Vec::new();
    for (target, section) in lines {
        match visits.last_mut().filter(|(lowest, _)| target.is_served_by(*lowest)) {
            Some((_, sections)) => sections.push(section),
            None => visits.push((target, vec![section])),
        }
    }
    visits
}

/// What the plan says of the round, as visits on the day that was asked for or on the days that the stops are given; nothing when
/// the caller has gone away meanwhile.
pub fn drafts(
    season: &Season,
    asked: &RoundVisits,
    gone: &AtomicBool,
) -> Option<(Vec<VisitChange>, Vec<SectionWithoutVisit>)> {
    let (offered, _) = season.offered();
    let (mut answers, mut left_out) = (Vec::new(), Vec::new());
    let mut left = offered.clone();
    for lawn in &season.lawns {
        if gone.load(Ordering::Relaxed) {
            return None;
        }
        let planned = season.plan(lawn, &left);
        match &planned {
            Err(not) => left_out.push(without(lawn.section_id, format!("The section {}.", not.why))),
            Ok(planned) => {
                // A product with nitrogen, one without, or both.
                let mut rounds = planned.section.rounds.iter().filter(|round| round.round == asked.round).peekable();
                if rounds.peek().is_none() {
                    let why = planned.section.skipped.iter().find(|left| left.round == asked.round);
                    let nothing = || "The plan has nothing for it in this round.".to_owned();
                    left_out.push(without(lawn.section_id, why.map_or_else(nothing, |left| left.why.clone())));
                }
                for round in rounds {
                    take(&mut left, round);
                }
            }
        }
        answers.push(planned);
    }
    let placed = stops::arrange(season, &offered, &mut answers, Some(&asked.round), gone)?;
    let mut groups: BTreeMap<Of, Vec<(Target, SectionId)>> = BTreeMap::new();
    for ((section, at), there) in placed {
        let Some((lawn, Ok(planned))) = season.lawns.get(section).zip(answers.get(section)) else { continue };
        let Some(round) = planned.section.rounds.get(at) else { continue };
        let Some(target) = Target::of(round) else {
            let why = format!("The {} lb of {} are too little for a visit.", round.product_lb, round.product_name);
            left_out.push(without(lawn.section_id, why));
            continue;
        };
        let goes = |technician: usize| season.technicians.get(technician).map(|one| one.person_id).or(asked.person_id);
        match there.map(|there| (there.on, goes(there.technician))) {
            Ok((on, Some(person))) => {
                let of = (on, person, lawn.property_id, round.product_id);
                groups.entry(of).or_default().push((target, lawn.section_id));
            }
            Ok((_, None)) => left_out.push(without(lawn.section_id, "Nobody is named who goes there.".to_owned())),
            Err(why) => left_out.push(without(lawn.section_id, format!("{}: {why}.", round.product_name))),
        }
    }
    let known: HashSet<SectionId> = season.lawns.iter().map(|lawn| lawn.section_id).collect();
    let missing = asked.section_ids.iter().filter(|id| !known.contains(id));
    left_out.extend(missing.map(|id| without(*id, "There is no such section.".to_owned())));
    let told: HashSet<SectionId> = left_out.iter().map(|left| left.section_id).collect();
    let told = |id: &SectionId| told.contains(id) || groups.values().flatten().any(|(_, section)| section == id);
    let rest: Vec<SectionId> = known.iter().filter(|id| !told(id)).copied().collect();
    left_out.extend(rest.into_iter().map(|id| without(id, "No day of the round was found for it.".to_owned())));
    let visits = groups.into_iter().flat_map(|(of, lines)| alike(lines).into_iter().map(move |one| (of, one)));
    let drafts = visits.flat_map(|(of, (target, sections))| {
        sections.chunks(SECTIONS).map(|chunk| draft(of, target, chunk)).collect::<Vec<_>>()
    });
    Some((drafts.collect(), left_out))
}

fn without(section_id: SectionId, why: String) -> SectionWithoutVisit {
    SectionWithoutVisit { section_id, why: truncate_chars(why, 700) }
}

/// Takes what a round puts down off the stock that may not be added to.
fn take(left: &mut [(ProductId, PlanProduct)], round: &RoundPlan) {
    for (product, offer) in left {
        if *product == round.product_id && !offer.may_buy {
            let rest = (offer.on_hand_lb.raw() - round.product_lb.raw()).max(0);
            offer.on_hand_lb = ProductMass::from_raw(rest);
        }
    }
}

fn draft((planned_on, person_id, property_id, product_id): Of, target: Target, sections: &[SectionId]) -> VisitChange {
    VisitChange {
        property_id,
        person_id,
        planned_on,
        product_id,
        section_ids: sections.to_vec(),
        purpose: Purpose::Maintenance,
        target_nitrogen_lb_per_1000_sqft: target.nitrogen(),
        target_product_lb_per_1000_sqft: target.product(),
        status: VisitStatus::Planned,
        reason: None,
    }
}

/// Sections on which another request has planned the round meanwhile.
pub fn planned_meanwhile(sections: Vec<SectionId>) -> Vec<SectionWithoutVisit> {
    let why = "It was planned meanwhile by another request.";
    sections.into_iter().map(|section_id| SectionWithoutVisit { section_id, why: why.to_owned() }).collect()
}
