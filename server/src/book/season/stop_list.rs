//! The stops of a season as they are shown: what goes down where, in the order of work, and what found no day.

use std::collections::{BTreeMap, HashSet};

use domain::{
    ids::{PersonId, ProductId, PropertyId, SectionId},
    quantity::{Area, ProductMass, ProductRate},
    time::Day,
};
use serde::Serialize;
use utoipa::ToSchema;

use super::{
    NotPlanned, PlannedSection, Season,
    stops::{Line, Placed, area},
};

/// What goes down on one section of a stop.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct StopLine {
    pub section_id: SectionId,
    #[schema(max_length = 120)]
    pub section_name: String,
    #[schema(max_length = 120)]
    pub round: String,
    pub product_id: ProductId,
    #[schema(max_length = 120)]
    pub product_name: String,
    pub product_lb: ProductMass,
    /// Rounded down.
    pub product_lb_per_1000_sqft: ProductRate,
}

/// One stop at a property on a day.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct PlannedStop {
    pub on: Day,
    /// Who goes; null where the programme names nobody.
    pub person_id: Option<PersonId>,
    #[schema(max_length = 120)]
    pub person_name: Option<String>,
    pub property_id: PropertyId,
    #[schema(max_length = 300)]
    pub address: String,
    #[schema(max_length = 120)]
    pub client_name: String,
    /// Ground of the sections, each once.
    pub area_sqft: Area,
    /// In the order of work: one product after the other, so that a spreader is filled with each once, and each over the sections.
    #[schema(max_items = 200)]
    pub lines: Vec<StopLine>,
}

/// Planned work that found no day.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct StopLeftOut {
    pub property_id: PropertyId,
    #[schema(max_length = 300)]
    pub address: String,
    #[schema(max_length = 120)]
    pub client_name: String,
    #[schema(max_length = 120)]
    pub round: String,
    #[schema(max_items = 200)]
    pub section_ids: Vec<SectionId>,
    #[schema(max_length = 700)]
    pub why: String,
}

/// The stops, day by day and technician by technician, and what found no day.
pub(super) fn stops(
    season: &Season,
    answers: &[Result<PlannedSection, NotPlanned>],
    placed: &Placed,
) -> (Vec<PlannedStop>, Vec<StopLeftOut>) {
    let mut found: BTreeMap<(Day, usize, usize), Vec<Line>> = BTreeMap::new();
    let mut lost: BTreeMap<(usize, String, String), Vec<SectionId>> = BTreeMap::new();
    let home = |section: usize| {
        let property = season.lawns.get(section).map(|lawn| lawn.property_id);
        season.lawns.iter().position(|lawn| Some(lawn.property_id) == property).unwrap_or(section)
    };
    for ((section, at), answer) in placed {
        let Some(Ok(planned)) = answers.get(*section) else { continue };
        let Some(shown) = planned.section.rounds.get(*at) else { continue };
        match answer {
            Ok(there) => {
                found.entry((there.on, there.technician, home(*section))).or_default().push((*section, *at));
            }
            Err(why) => {
                let key = (home(*section), shown.round.clone(), crate::field_fault::truncate_chars(why.clone(), 700));
                let sections = lost.entry(key).or_default();
                if !sections.contains(&planned.section.section_id) {
                    sections.push(planned.section.section_id);
                }
            }
        }
    }
    let stop = |((on, technician, home), mut lines): ((Day, usize, usize), Vec<Line>)| {
        let lawn = season.lawns.get(home)?;
        let technician = season.technicians.get(technician);
        let planned = |section: usize| answers.get(section).and_then(|answer| answer.as_ref().ok());
        lines.sort_by_key(|(section, at)| {
            (planned(*section).and_then(|plan| plan.raw.rounds.get(*at)).map(|round| round.product), *section)
        });
        let sections: HashSet<usize> = lines.iter().map(|(section, _)| *section).collect();
        let line = |(section, at): &Line| {
            let plan = planned(*section)?;
            let shown = plan.section.rounds.get(*at)?;
            Some(StopLine {
                section_id: plan.section.section_id,
                section_name: plan.section.section_name.clone(),
                round: shown.round.clone(),
                product_id: shown.product_id,
                product_name: shown.product_name.clone(),
                product_lb: shown.product_lb,
                product_lb_per_1000_sqft: shown.product_lb_per_1000_sqft,
            })
        };
        Some(PlannedStop {
            on,
            person_id: technician.map(|one| one.person_id),
            person_name: technician.map(|one| one.name.clone()),
            property_id: lawn.property_id,
            address: lawn.address.clone(),
            client_name: lawn.client_name.clone(),
            area_sqft: Area::from_raw(sections.iter().map(|section| area(answers, *section)).sum()),
            lines: lines.iter().filter_map(line).collect(),
        })
    };
    let left = |((home, round, why), section_ids): ((usize, String, String), Vec<SectionId>)| {
        let lawn = season.lawns.get(home)?;
        let (address, client_name) = (lawn.address.clone(), lawn.client_name.clone());
        Some(StopLeftOut { property_id: lawn.property_id, address, client_name, round, section_ids, why })
    };
    (found.into_iter().filter_map(stop).collect(), lost.into_iter().filter_map(left).collect())
}
