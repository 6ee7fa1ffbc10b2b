//! The company's season: every section's plan, and what to buy for all of them.

use std::sync::atomic::{AtomicBool, Ordering};

use domain::{
    explain::Sentence,
    ids::{ClientId, ProductId, ProgrammeId, PropertyId, SectionId},
    product::{Nutrients, arithmetic::GradeNutrient},
    programme::{PlanGoal, PlanProduct, SeasonPlan, UnmetNeed, liming::PlannedLime},
    quantity::{Price, ProductMass},
    time::Day,
};
use serde::Serialize;
use utoipa::ToSchema;

use super::{
    NotPlanned, PlannedSection, Season,
    buying::{Bought, PurchaseInMonth, Purchasing, buying},
    stop_list::{self, PlannedStop, StopLeftOut},
    stops,
};
use crate::store::programmes::lawns::Lawn;

/// A section's season in short; its own plan has the derivations.
#[derive(Debug, Serialize, ToSchema)]
pub struct SectionPlanSummary {
    pub section_id: SectionId,
    #[schema(max_length = 120)]
    pub section_name: String,
    pub property_id: PropertyId,
    #[schema(max_length = 300)]
    pub address: String,
    pub client_id: ClientId,
    #[schema(max_length = 120)]
    pub client_name: String,
    #[schema(max_items = 30)]
    pub rounds: Vec<RoundSummary>,
    #[schema(max_items = 10)]
    pub skipped: Vec<super::RoundLeftOut>,
    #[schema(max_items = 3)]
    pub unmet: Vec<UnmetNeed>,
    /// The lime that the soil report asks for; null where it asks for none, or where a gap of the section's plan says why not.
    pub lime: Option<PlannedLime>,
    pub price_usd: Price,
}

#[derive(Debug, Serialize, ToSchema)]
pub struct RoundSummary {
    #[schema(max_length = 120)]
    pub round: String,
    pub on: Day,
    pub product_id: ProductId,
    pub product_lb: ProductMass,
    pub delivers: Nutrients,
}

/// A section that cannot be planned.
#[derive(Debug, Serialize, ToSchema)]
pub struct SectionLeftOut {
    pub section_id: SectionId,
    #[schema(max_length = 120)]
    pub section_name: String,
    #[schema(max_length = 300)]
    pub address: String,
    #[schema(max_length = 120)]
    pub client_name: String,
    #[schema(max_length = 600)]
    pub why: String,
}

/// Stock that no plan uses.
#[derive(Debug, Serialize, ToSchema)]
pub struct UnusedProduct {
    pub product_id: ProductId,
    #[schema(max_length = 120)]
    pub product_name: String,
    pub left_lb: ProductMass,
    /// Whether needs stay unmet that it could meet: then the limits named beside it keep it in the shed.
    pub kept_by_limits: bool,
    #[schema(max_items = 10, value_type = Vec<Sentence>)]
    pub why: Vec<String>,
}

/// The company's season, or one client's.
#[derive(Debug, Serialize, ToSchema)]
pub struct CompanyPlan {
    pub programme_id: ProgrammeId,
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub programme_version: i64,
    pub aim: PlanGoal,
    pub from: Option<Day>,
    #[schema(max_items = 1000)]
    pub sections: Vec<SectionPlanSummary>,
    /// The same work as stops: one a property and day, in the order of days, technicians and properties.
    #[schema(max_items = 30_000)]
    pub stops: Vec<PlannedStop>,
    /// Work that no technician has room for on a lawful day, and why. The sections' plans show it on its first lawful day.
    #[schema(max_items = 30_000)]
    pub not_placed: Vec<StopLeftOut>,
    /// Sections without a plan, and why.
    #[schema(max_items = 1000)]
    pub not_planned: Vec<SectionLeftOut>,
    /// By product and month.
    #[schema(max_items = 1000)]
    pub purchases: Vec<PurchaseInMonth>,
    #[schema(max_items = 10)]
    pub unused: Vec<UnusedProduct>,
    /// Price of all bags to buy.
    pub price_usd: Price,
    #[schema(max_items = 40, value_type = Vec<Sentence>)]
    pub gaps: Vec<String>,
    #[schema(max_length = 400)]
    pub caution: &'static str,
}

pub(super) type Answers = Vec<Result<PlannedSection, NotPlanned>>;

/// Plans every section, on all cores; nothing when the caller has gone away meanwhile.
pub fn company_plan(season: &Season, settings: Purchasing, gone: &AtomicBool) -> Option<CompanyPlan> {
    let (offered, mut gaps) = season.offered();
    let mut answers = in_parallel(season, &offered, gone)?;
    share_stock(season, &offered, &mut answers, gone)?;
    let placed = stops::arrange(season, &offered, &mut answers, None, gone)?;
    let (stops, not_placed) = stop_list::stops(season, &answers, &placed);
    let Bought { purchases, price, unused: left } = buying(season, &offered, &answers, settings, &mut gaps);
    let unused = left.iter().filter_map(|left| {
        let (product_id, product) = offered.get(left.product)?;
        Some(idle(*product_id, product, left.left_lb, &answers))
    });
    let unused = unused.collect();
    let (sections, not_planned) = in_short(&season.lawns, answers);
    Some(CompanyPlan {
        programme_id: season.programme.id,
        programme_version: season.programme.version,
        aim: season.aim,
        from: season.from,
        sections,
        stops,
        not_placed,
        not_planned,
        price_usd: price,
        purchases,
        unused,
        gaps,
        caution: super::CAUTION,
    })
}

/// Each section by itself, as if all stock were its own.
fn in_parallel(season: &Season, offered: &[(ProductId, PlanProduct)], gone: &AtomicBool) -> Option<Answers> {
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    // Sections of one client lie beside each other and are alike: dealt out in turn, all cores end together.
    let deal = |turn: usize| {
        let mut dealt = Vec::new();
        for (at, lawn) in season.lawns.iter().enumerate().skip(turn).step_by(cores) {
            if gone.load(Ordering::Relaxed) {
                return None;
            }
            dealt.push((at, season.plan(lawn, offered)));
        }
        Some(dealt)
    };
    let mut answers: Vec<(usize, Result<PlannedSection, NotPlanned>)> = Vec::with_capacity(season.lawns.len());
    let whole = std::thread::scope(|scope| {
        let turns: Vec<_> = (0..cores).map(|turn| scope.spawn(move || deal(turn))).collect();
        for turn in turns {
            answers.extend(turn.join().ok().flatten()?);
        }
        Some(())
    });
    whole?;
    answers.sort_by_key(|(at, _)| *at);
    Some(answers.into_iter().map(|(_, answer)| answer).collect())
}

/// Product that may not be bought is given out in the order of the sections; a section for which it does not reach is
/// planned again with what is left.
fn share_stock(
    season: &Season,
    offered: &[(ProductId, PlanProduct)],
    answers: &mut Answers,
    gone: &AtomicBool,
) -> Option<()> {
    let mut left = offered.to_vec();
    let short = |planned: &PlannedSection, left: &[(ProductId, PlanProduct)]| {
        left.iter()
            .enumerate()
            .any(|(at, (_, product))| !product.may_buy && used(&planned.raw, at) > product.on_hand_lb.raw())
    };
    for (lawn, answer) in season.lawns.iter().zip(answers.iter_mut()) {
        if gone.load(Ordering::Relaxed) {
            return None;
        }
        if answer.as_ref().is_ok_and(|planned| short(planned, &left)) {
            *answer = season.plan(lawn, &left);
        }
        let Ok(planned) = answer else { continue };
        for (at, (_, product)) in left.iter_mut().enumerate().filter(|(_, (_, product))| !product.may_buy) {
            let rest = (product.on_hand_lb.raw() - used(&planned.raw, at)).max(0);
            product.on_hand_lb = ProductMass::from_raw(rest);
        }
    }
    Some(())
}

fn used(plan: &SeasonPlan, product: usize) -> i64 {
    plan.rounds.iter().filter(|round| round.product == product).map(|round| round.product_lb.raw()).sum()
}

/// Why a product stays in the shed: needs that it could meet stay unmet, or nobody needs it.
fn idle(product_id: ProductId, product: &PlanProduct, left_lb: ProductMass, answers: &Answers) -> UnusedProduct {
    let mut why: Vec<String> = Vec::new();
    let brings = |nutrient: GradeNutrient| nutrient.percent(&product.label).raw() > 0;
    let plans = || answers.iter().flatten().map(|planned| &planned.raw);
    let unmet = plans().flat_map(|plan| &plan.unmet).filter(|unmet| brings(unmet.nutrient));
    let lime = plans().filter_map(|plan| plan.lime.as_ref()).filter(|_| product.cce_percent.is_some());
    for words in unmet.flat_map(|unmet| &unmet.conflicts_with).chain(lime.flat_map(|lime| &lime.why)) {
        if why.len() < 10 && !why.contains(words) {
            why.push(words.clone());
        }
    }
    let kept_by_limits = !why.is_empty();
    if !kept_by_limits {
        why.push("Every need is met without it.".to_owned());
    }
    UnusedProduct { product_id, product_name: product.name.clone(), left_lb, kept_by_limits, why }
}

fn in_short(lawns: &[Lawn], answers: Answers) -> (Vec<SectionPlanSummary>, Vec<SectionLeftOut>) {
    let (mut sections, mut left_out) = (Vec::new(), Vec::new());
    for (lawn, answer) in lawns.iter().zip(answers) {
        match answer {
            Ok(PlannedSection { section, .. }) => sections.push(SectionPlanSummary {
                section_id: section.section_id,
                section_name: section.section_name,
                property_id: section.property_id,
                address: section.address,
                client_id: section.client_id,
                client_name: section.client_name,
                rounds: section
                    .rounds
                    .into_iter()
                    .map(|round| RoundSummary {
                        round: round.round,
                        on: round.on,
                        product_id: round.product_id,
                        product_lb: round.product_lb,
                        delivers: round.delivers,
                    })
                    .collect(),
                skipped: section.skipped,
                unmet: section.unmet,
                lime: section.lime,
                price_usd: section.price_usd,
            }),
            Err(not) => left_out.push(SectionLeftOut {
                section_id: lawn.section_id,
                section_name: lawn.section_name.clone(),
                address: lawn.address.clone(),
                client_name: lawn.client_name.clone(),
                why: format!("The section {}.", not.why),
            }),
        }
    }
    (sections, left_out)
}
