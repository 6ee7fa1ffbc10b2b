//! The season's plan of a section and of the company: from the book's facts to the question of `domain::programme`, and back.
//!
//! A plan is worked out anew each time it is asked, from the true history, and changes nothing.

mod company;
mod need;
mod round_visits;
mod view;

use std::{collections::HashMap, sync::Arc};

pub use company::{CompanyPlan, Purchasing, SectionPlanSummary, company_plan};
use domain::{
    application::{Audience, Ground, Purpose},
    facts::{Facts, LineFacts, PastApplication, PastProduct, SectionFacts},
    ids::{ProductId, SectionId},
    law::Lawbook,
    product::{Label, product_for_target},
    programme::{PlanGoal, PlanProduct, PlanRound, SeasonPlan, SeasonQuestion, UnmetNeed, need::ComputedNeed, plan},
    quantity::{Area, ProductMass, RainDepth, Temperature, rate_rounded_down},
    time::{Day, Instant},
    weather::{AirTemperature, Alerts, HeavyRain, RainForecast, Weather, WeatherSource},
};
use jiff::SignedDuration;
pub use round_visits::{PlannedVisits, RoundVisits, SectionWithoutVisit, drafts, planned_meanwhile};
use view::{CAUTION, price};
pub use view::{FollowedSchedule, RoundLeftOut, RoundPlan, SectionPlan};

use crate::{
    acts::{BatchFacts, facts, rows::SectionRow},
    field_fault::truncate_chars,
    store::programmes::{
        Programme,
        lawns::{Lawn, VisitLine},
    },
};

/// Everything that plans are made from, as it stood at one moment.
#[derive(Debug)]
pub struct Season {
    pub programme: Programme,
    pub lawns: Vec<Lawn>,
    pub visits: Vec<VisitLine>,
    pub world: BatchFacts,
    pub law: Arc<Lawbook>,
    /// The first day to plan for; nothing for today at the property.
    pub from: Option<Day>,
    pub now: Instant,
    /// The office's day.
    pub today: Day,
    pub aim: PlanGoal,
    /// One day instead of a round's window, when the visits of a round are planned for it.
    pub only: Option<(String, Day)>,
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
                cce_percent: None,
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
        product_for_target(&product.label, line.area?, line.target?)
    }

    /// Plans one section. `offered` are the products, in an order that all sections share.
    pub fn plan(&self, lawn: &Lawn, offered: &[(ProductId, PlanProduct)]) -> Result<PlannedSection, NotPlanned> {
        let missing = |code, why: String| NotPlanned { code, why };
        let section = self.world.sections.get(&lawn.section_id);
        let property = self.world.properties.get(&lawn.property_id);
        let (Some(section), Some(property)) = (section, property) else {
            return Err(missing("not_found", "is not on record".to_owned()));
        };
        let zone = facts::zone(lawn.property_id, property, self.now)
            .map_err(|unknown| missing("unknown_zone", unknown.to_string()))?;
        let from = self.from.unwrap_or_else(|| self.now.day_in(&zone));
        let area = section.area_on(from).ok_or_else(|| {
            missing("not_measured", "has no measurement yet; measure it, and it can be planned".to_owned())
        })?;
        let (mut past, mut gaps) = (section.past(None, None), Vec::new());
        past.extend(self.open_visits(lawn.section_id, area, &mut gaps));
        let (need, frame) = need::of(&self.programme, lawn, section.on(from).species, &past, from)?;
        let (rounds, taken) = self.rounds(lawn.section_id, from, property.cancelled_on(from));
        let label = offered.first().map(|(_, product)| &product.label).ok_or_else(|| {
            missing("no_product", "cannot be planned: no product of the program may be used".to_owned())
        })?;
        let facts = self.facts(section, lawn.section_id, (from, area), past, label);
        let facts_on = |on: Day| {
            let at = on.starts_at(&zone).plus(SignedDuration::from_hours(12));
            Facts { on, at, weather: fair(at), ..facts.clone() }
        };
        let products: Vec<PlanProduct> = offered.iter().map(|(_, product)| product.clone()).collect();
        let raw = plan(
            &self.law,
            &SeasonQuestion {
                rule_sets: &property.on(from).rule_sets,
                facts_on: &facts_on,
                rounds: &rounds,
                products: &products,
                need: need.season_need(),
                frame: frame.as_ref(),
                lime: None,
                least_product: self.programme.least_product_lb_per_1000_sqft,
                aim: self.aim,
            },
        );
        let mut section = self.shown(lawn, from, area, need, (&raw, &rounds, taken), (offered, gaps));
        section.schedule = frame.map(|frame| FollowedSchedule::of(&frame, raw.steps.clone()));
        Ok(PlannedSection { section, raw })
    }

    /// The section's facts without weather, label and product of a line, which the planning puts in.
    fn facts(
        &self,
        row: &SectionRow,
        id: SectionId,
        (from, area): (Day, Area),
        past: Vec<PastApplication>,
        label: &Label,
    ) -> Facts {
        let stood = row.on(from);
        let section = SectionFacts {
            id,
            water: stood.water(),
            name: stood.name,
            area,
            species: stood.species,
            natural_strip: stood.natural_strip_ft,
            established_on: stood.established_on,
            touches_pavement: stood.touches_pavement,
            divisions: row.divisions(),
            soil_reports: row.soil_reports(),
            past,
        };
        Facts {
            on: from,
            at: self.now,
            audience: Audience::Professional,
            credentials: Vec::new(),
            purpose: Purpose::Maintenance,
            equipment: self.programme.equipment,
            label: label.clone(),
            weather: Weather::default(),
            ground: Some(Ground::Moist),
            pavement_cleaned: Some(true),
            lines: vec![LineFacts { section, area, parts: None, product: ProductMass::ZERO }],
        }
    }

    /// What open visits will put down here, as it will count.
    fn open_visits(&self, section: SectionId, area: Area, gaps: &mut Vec<String>) -> Vec<PastApplication> {
        let mut planned = Vec::new();
        for line in self.visits.iter().filter(|line| line.open && line.section_id == section) {
            let product = self.world.products.get(&line.product_id);
            match (product, self.visit_product(line)) {
                (Some(product), Some(mass)) => planned.push(PastApplication {
                    on: line.planned_on,
                    area,
                    parts: None,
                    nutrients: product.label.nutrients_in(mass),
                    enhanced_efficiency: product.label.enhanced_efficiency,
                    organic: product.label.organic,
                    purpose: line.purpose,
                    product: PastProduct::of(&product.label),
                    held: true,
                }),
                _ => gaps.push(format!(
                    "The visit on {} has no nitrogen target that its product can meet; what it will put down is not counted.",
                    line.planned_on
                )),
            }
        }
        planned.sort_by_key(|planned| planned.on);
        planned
    }

    /// Rounds that are still to be planned here, and why the others are not.
    fn rounds(&self, section: SectionId, from: Day, cancelled_on: Option<Day>) -> (Vec<PlanRound>, Vec<RoundLeftOut>) {
        let (mut open, mut taken) = (Vec::new(), Vec::new());
        for round in &self.programme.rounds {
            let own = |line: &&VisitLine| {
                let of = line.of.as_ref().map(|(id, round)| (*id, round.as_str()));
                line.section_id == section && of == Some((self.programme.id, round.name.as_str()))
            };
            let visit = self.visits.iter().find(own);
            let mut leave = |why: String| taken.push(RoundLeftOut { round: round.name.clone(), why });
            let last = cancelled_on.map_or(round.to, |day| round.to.min(day.plus_days(-1)));
            match (visit, &self.only) {
                (Some(visit), _) => {
                    let how = if visit.open { "is planned" } else { "was made" };
                    leave(format!("It {how} already: the visit of {}.", visit.planned_on));
                }
                (None, _) if round.to < from => leave(format!("It is over: it ended on {}.", round.to)),
                (None, _) if last < round.from.max(from) => leave("The client's service ends before it.".to_owned()),
                (None, Some((only, day))) if *only == round.name => {
                    let window = PlanRound { from: *day, to: *day, ..round.clone() };
                    if *day <= last && *day >= from {
                        open.push(window);
                    } else {
                        leave(format!("Its day lies before {from}, or after the end of the client's service."));
                    }
                }
                (None, _) => open.push(PlanRound { from: round.from.max(from), to: last, ..round.clone() }),
            }
        }
        (open, taken)
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
            rounds,
            skipped,
            unmet,
            delivers: raw.delivers,
            price_usd: raw.price_usd,
            price_derivation: price(raw, offered),
            gaps,
            caution: CAUTION,
        }
    }
}

/// The weather that is planned for: seen at the moment itself, mild, dry and without an alert.
fn fair(at: Instant) -> Weather {
    let source = WeatherSource::Technician;
    let rain = |hours| RainForecast {
        rain_in: RainDepth::ZERO,
        hours,
        chance_percent: None,
        source,
        issued_at: at,
        bounds: None,
        service: None,
    };
    Weather {
        air_temperature: Some(AirTemperature {
            air_temperature_f: Temperature::from_raw(650),
            source,
            observed_at: at,
            service: None,
        }),
        rain_forecast: vec![rain(24), rain(168)],
        alerts: Some(Alerts { active: Vec::new(), source, looked_at: at, others: Vec::new(), service: None }),
        heavy_rain: Some(HeavyRain { falls: false, source, observed_at: at }),
        wind: None,
        soil: None,
        doubted: None,
    }
}
