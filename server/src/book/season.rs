//! The season's plan of a section and of the company: from the book's facts to the question of `domain::programme`, and back.
//!
//! A plan is worked out anew each time it is asked, from the true history, and changes nothing.

mod buying;
mod calendar;
mod company;
mod lime;
mod need;
mod question;
mod round_visits;
mod stop_list;
mod stops;
mod view;

use std::{collections::HashMap, sync::Arc};

pub use buying::Purchasing;
pub use calendar::span as calendar_span;
pub use company::{CompanyPlan, SectionPlanSummary, company_plan};
use domain::{
    ids::{PersonId, ProductId},
    law::Lawbook,
    product::{arithmetic::product_at_rate_rounded_down, product_for_target},
    programme::{
        PlanGoal, PlanProduct, PlanRound, SeasonPlan, UnmetNeed, need::ComputedNeed, plan, stops::DayCapacity,
    },
    quantity::{Area, Price, ProductMass, ProductRate, rate_rounded_down},
    time::{Day, Instant},
};
pub use lime::REPORT_MONTHS as LIME_REPORT_MONTHS;
use question::LawnQuestion;
pub use round_visits::{PlannedVisits, RoundVisits, SectionWithoutVisit, drafts, planned_meanwhile};
pub use stop_list::{PlannedStop, StopLeftOut, StopLine};
use view::{CAUTION, price};
pub use view::{FollowedSchedule, RoundLeftOut, RoundPlan, SectionPlan};

use crate::{
    acts::BatchFacts,
    field_fault::truncate_chars,
    store::programmes::{
        Programme,
        lawns::{Lawn, LimeLine, VisitLine},
    },
};

/// Everything that plans are made from, as it stood at one moment.
#[derive(Debug)]
pub struct Season {
    pub programme: Programme,
    pub lawns: Vec<Lawn>,
    pub visits: Vec<VisitLine>,
    /// Lime that stands put down since the oldest sample that still counts.
    pub lime_lines: Vec<LimeLine>,
    pub world: BatchFacts,
    pub law: Arc<Lawbook>,
    /// The first day to plan for; nothing for today at the property.
    pub from: Option<Day>,
    pub now: Instant,
    /// The office's day.
    pub today: Day,
    pub aim: PlanGoal,
    /// Who goes, and what each can do on a day. Nobody where the programme names none: then days have no limit.
    pub technicians: Vec<SeasonTechnician>,
    /// Who may be sent: whoever was named, else the technicians of the programme, else every technician, else everybody.
    pub sent: Vec<PersonId>,
    /// One day instead of a round's window, when the visits of a round are planned for it.
    pub only: Option<(String, Day)>,
}

/// Somebody who goes to the stops of the season.
#[derive(Debug, Clone)]
pub struct SeasonTechnician {
    pub person_id: PersonId,
    pub name: String,
    pub capacity: DayCapacity,
}

/// Why a section has no plan.
#[derive(Debug, Clone)]
pub struct NotPlanned {
    pub code: &'static str,
    pub why: String,
}

/// A plan with what it was made from, for those that add plans up.
#[derive(Debug, Clone)]
pub struct PlannedSection {
    pub section: SectionPlan,
    /// With the indices of the programme's offered products.
    pub raw: SeasonPlan,
}

/// Refuses a plan with amounts beyond what is stored, which nobody can mean.
fn bounded(plan: &SeasonPlan) -> Result<(), NotPlanned> {
    let masses = || plan.rounds.iter().map(|round| round.product_lb.raw());
    let stored = masses().all(|raw| ProductMass::checked(raw).is_ok());
    // On little ground a rate passes its bound before the amount does.
    let rates = || plan.rounds.iter().map(|round| round.product_lb_per_1000_sqft.raw());
    let stored = stored && rates().all(|raw| ProductRate::checked(raw).is_ok());
    if stored && Price::checked(plan.price_usd.raw()).is_ok() {
        return Ok(());
    }
    let what = if stored { "its products cost more" } else { "it takes more of a product" };
    let why = format!(
        "cannot be planned: {what} than is stored; check its need and its area, and the price, weight and analysis of each product"
    );
    Err(NotPlanned { code: "out_of_range", why })
}

impl Season {
    /// Products of the programme that may be used, with what of them is not promised to visits.
    pub fn offered(&self) -> (Vec<(ProductId, PlanProduct)>, Vec<String>) {
        let promised = self.promised();
        let (mut offered, mut gaps) = (Vec::new(), Vec::new());
        for listed in &self.programme.products {
            let Some(product) = self.world.products.get(&listed.product_id) else { continue };
            if product.status != "active" {
                gaps.push(format!("{} is marked \"{}\" and not planned with.", product.name, product.status));
                continue;
            }
            let free = product.balance - promised.get(&listed.product_id).copied().unwrap_or(0);
            let plan = PlanProduct {
                name: product.name.clone(),
                label: product.label.clone(),
                bag_lb: ProductMass::from_raw(product.net_weight),
                bag_price_usd: listed.bag_price_usd,
                on_hand_lb: ProductMass::from_raw(free.clamp(0, 1_000_000_000_000)),
                may_buy: listed.may_buy,
                cce_percent: product.label.liming_cce(),
            };
            offered.push((listed.product_id, plan));
        }
        (offered, gaps)
    }

    /// Product that open visits take, in millionths of a pound.
    fn promised(&self) -> HashMap<ProductId, i64> {
        let mut promised = HashMap::new();
        for line in self.visits.iter().filter(|line| line.open) {
            *promised.entry(line.product_id).or_default() += self.visit_product(line).map_or(0, ProductMass::raw);
        }
        promised
    }

    /// What a visit takes on one section; nothing when its target or its area is not known.
    pub fn visit_product(&self, line: &VisitLine) -> Option<ProductMass> {
        let product = self.world.products.get(&line.product_id)?;
        match line.target_product {
            Some(rate) => product_at_rate_rounded_down(rate, line.area?).map(|figure| figure.value),
            None => product_for_target(&product.label, line.area?, line.target?),
        }
    }

    /// Plans one section. `offered` are the products, in an order that all sections share.
    pub fn plan(&self, lawn: &Lawn, offered: &[(ProductId, PlanProduct)]) -> Result<PlannedSection, NotPlanned> {
        let asked = self.ask(lawn, offered)?;
        let raw = asked.with(|question| plan(&self.law, question));
        bounded(&raw)?;
        let LawnQuestion { from, area, need, rounds, taken, gaps, frame, .. } = asked;
        let mut section = self.shown(lawn, from, area, need, (&raw, &rounds, taken), (offered, gaps));
        section.schedule = frame.map(|frame| FollowedSchedule::of(&frame, raw.steps.clone()));
        Ok(PlannedSection { section, raw })
    }

    fn shown(
        &self,
        lawn: &Lawn,
        from: Day,
        area: Area,
        need: ComputedNeed,
        (raw, rounds, taken): (&SeasonPlan, &[PlanRound], Vec<RoundLeftOut>),
        (offered, mut gaps): (&[(ProductId, PlanProduct)], Vec<String>),
    ) -> SectionPlan {
        let name = |round: usize| rounds.get(round).map(|round| round.name.clone()).unwrap_or_default();
        let planned = raw.rounds.iter().filter_map(|round| {
            let (product_id, product) = offered.get(round.product)?;
            Some(RoundPlan {
                round: name(round.round),
                on: round.on,
                product_id: *product_id,
                product_name: product.name.clone(),
                product_lb: round.product_lb,
                product_lb_per_1000_sqft: round.product_lb_per_1000_sqft,
                delivers: round.delivers,
                nitrogen_lb_per_1000_sqft: rate_rounded_down(round.delivers.nitrogen_lb.raw(), area),
                derivation: round.derivation.clone(),
            })
        });
        let rounds = planned.collect();
        // A round that is over or given out stands against a need as a rule does.
        let told = |left: &RoundLeftOut| truncate_chars(format!("round {}: {}", left.round, left.why), 600);
        let gone: Vec<String> = taken.iter().map(told).collect();
        let against = |unmet: &UnmetNeed| UnmetNeed {
            conflicts_with: gone.iter().chain(&unmet.conflicts_with).take(200).cloned().collect(),
            ..unmet.clone()
        };
        let unmet = raw.unmet.iter().map(against).collect();
        let mut skipped = taken;
        skipped.extend(raw.skipped.iter().map(|left| RoundLeftOut { round: name(left.round), why: left.why.clone() }));
        let order = |round: &str| self.programme.rounds.iter().position(|known| known.name == round);
        skipped.sort_by_key(|left| order(&left.round));
        gaps.extend(need.gaps.iter().cloned());
        SectionPlan {
            section_id: lawn.section_id,
            section_name: lawn.section_name.clone(),
            property_id: lawn.property_id,
            address: lawn.address.clone(),
            client_id: lawn.client_id,
            client_name: lawn.client_name.clone(),
            programme_id: self.programme.id,
            programme_version: self.programme.version,
            aim: self.aim,
            from,
            area_sqft: area,
            need,
            schedule: None,
            lime: raw.lime.clone(),
            rounds,
            skipped,
            closed: Vec::new(),
            unmet,
            delivers: raw.delivers,
            price_usd: raw.price_usd,
            price_derivation: price(raw, offered),
            gaps,
            caution: CAUTION,
        }
    }
}
