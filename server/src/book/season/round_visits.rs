//! From a round of the plan to visits: what is to be planned for the chosen sections on one day.

use std::collections::{BTreeMap, HashSet};

use domain::{
    application::Purpose,
    ids::{PersonId, ProductId, ProgrammeId, PropertyId, SectionId},
    programme::PlanGoal,
    quantity::NutrientRate,
    time::Day,
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::Season;
use crate::store::visits::{Visit, VisitChange, VisitStatus};

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
    /// Local day of the visits, within the round.
    pub planned_on: Day,
    /// Who is to go there.
    pub person_id: PersonId,
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
    /// One for each property, product and target.
    #[schema(max_items = 200)]
    pub visits: Vec<Visit>,
    #[schema(max_items = 200)]
    pub left_out: Vec<SectionWithoutVisit>,
}

/// Sections of one visit at most.
const SECTIONS: usize = 20;
/// A target is rounded down to the thousandth of a pound, so that sections that differ by the rounding of their amounts
/// share a visit.
const STEP: i64 = 1_000;

/// What the plan says of the round on the day, as visits.
pub fn drafts(season: &Season, asked: &RoundVisits) -> (Vec<VisitChange>, Vec<SectionWithoutVisit>) {
    let (offered, _) = season.offered();
    let mut groups: BTreeMap<(PropertyId, ProductId, i64), Vec<SectionId>> = BTreeMap::new();
    let mut left_out = Vec::new();
    let mut left = offered.clone();
    for lawn in &season.lawns {
        let id = lawn.section_id;
        let mut leave = |why: String| left_out.push(SectionWithoutVisit { section_id: id, why });
        let planned = match season.plan(lawn, &left) {
            Ok(planned) => planned,
            Err(not) => {
                leave(format!("The section {}.", not.why));
                continue;
            }
        };
        // A product with nitrogen, one without, or both.
        let rounds: Vec<_> = planned.section.rounds.iter().filter(|round| round.round == asked.round).collect();
        if rounds.is_empty() {
            let why = planned.section.skipped.iter().find(|left| left.round == asked.round);
            leave(why.map_or_else(|| "The plan has nothing for it in this round.".to_owned(), |left| left.why.clone()));
        }
        for round in rounds {
            let target = round.nitrogen_lb_per_1000_sqft.raw() / STEP * STEP;
            if target == 0 {
                leave(format!(
                    "{} has next to no nitrogen, and a visit states its amount by nitrogen: plan its {} lb by hand.",
                    round.product_name, round.product_lb
                ));
                continue;
            }
            for (product, offer) in &mut left {
                if *product == round.product_id && !offer.may_buy {
                    let rest = (offer.on_hand_lb.raw() - round.product_lb.raw()).max(0);
                    offer.on_hand_lb = domain::quantity::ProductMass::from_raw(rest);
                }
            }
            groups.entry((lawn.property_id, round.product_id, target)).or_default().push(id);
        }
    }
    let known: HashSet<SectionId> = season.lawns.iter().map(|lawn| lawn.section_id).collect();
    let missing = asked.section_ids.iter().filter(|id| !known.contains(id));
    left_out
        .extend(missing.map(|id| SectionWithoutVisit { section_id: *id, why: "There is no such section.".to_owned() }));
    let draft = |(property, product, target): (PropertyId, ProductId, i64), sections: &[SectionId]| VisitChange {
        property_id: property,
        person_id: asked.person_id,
        planned_on: asked.planned_on,
        product_id: product,
        section_ids: sections.to_vec(),
        purpose: Purpose::Maintenance,
        target_nitrogen_lb_per_1000_sqft: Some(NutrientRate::from_raw(target)),
        status: VisitStatus::Planned,
        reason: None,
    };
    let drafts = groups
        .into_iter()
        .flat_map(|(of, sections)| sections.chunks(SECTIONS).map(|chunk| draft(of, chunk)).collect::<Vec<_>>());
    (drafts.collect(), left_out)
}

/// Sections on which another request has planned the round meanwhile.
pub fn planned_meanwhile(sections: Vec<SectionId>) -> Vec<SectionWithoutVisit> {
    let why = "It was planned meanwhile by another request.";
    sections.into_iter().map(|section_id| SectionWithoutVisit { section_id, why: why.to_owned() }).collect()
}
