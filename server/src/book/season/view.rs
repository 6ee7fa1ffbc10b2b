//! A section's plan as it is shown.

use domain::{
    explain::{Derivation, Sentence, SourceMark},
    ids::{ClientId, ProductId, ProgrammeId, PropertyId, SectionId},
    product::Nutrients,
    programme::{
        PlanGoal, PlanProduct, SeasonPlan, UnmetNeed,
        frame::{Frame, PlannedStep},
        liming::PlannedLime,
        need::ComputedNeed,
        open_days::ClosedDays,
        published::Maintenance,
    },
    quantity::{Area, NutrientRate, Price, ProductMass, ProductRate},
    time::Day,
};
use serde::Serialize;
use utoipa::ToSchema;

/// A round that product goes down in.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct RoundPlan {
    #[schema(max_length = 120)]
    pub round: String,
    /// The first day in the round on which nothing known forbids the work.
    pub on: Day,
    pub product_id: ProductId,
    #[schema(max_length = 120)]
    pub product_name: String,
    pub product_lb: ProductMass,
    /// Rounded down.
    pub product_lb_per_1000_sqft: ProductRate,
    pub delivers: Nutrients,
    /// Rounded down; a visit of the round takes it as its target.
    pub nitrogen_lb_per_1000_sqft: NutrientRate,
    pub derivation: Derivation,
}

/// A round that is left out.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct RoundLeftOut {
    #[schema(max_length = 120)]
    pub round: String,
    #[schema(max_length = 600)]
    pub why: String,
}

/// The published schedule that a plan follows, step by step.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct FollowedSchedule {
    #[schema(max_length = 120)]
    pub name: &'static str,
    #[schema(max_length = 300)]
    pub source: &'static str,
    pub mark: SourceMark,
    /// The care level of the lawn, by which it is taken.
    pub maintenance: Maintenance,
    #[schema(max_items = 24)]
    pub steps: Vec<PlannedStep>,
}

impl FollowedSchedule {
    pub(super) fn of(frame: &Frame, steps: Vec<PlannedStep>) -> Self {
        let Frame { programme, level, .. } = frame;
        Self { name: programme.name, source: programme.source, mark: programme.mark, maintenance: *level, steps }
    }
}

/// The season's plan of one section.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SectionPlan {
    pub section_id: SectionId,
    #[schema(max_length = 120)]
    pub section_name: String,
    pub property_id: PropertyId,
    #[schema(max_length = 300)]
    pub address: String,
    pub client_id: ClientId,
    #[schema(max_length = 120)]
    pub client_name: String,
    pub programme_id: ProgrammeId,
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub programme_version: i64,
    pub aim: PlanGoal,
    /// The first day that was planned for.
    pub from: Day,
    pub area_sqft: Area,
    pub need: ComputedNeed,
    /// The schedule that the nitrogen follows; null where the office entered a figure.
    pub schedule: Option<FollowedSchedule>,
    /// The lime that the soil report asks for; null where it asks for none, or where a gap says why it is not planned.
    pub lime: Option<PlannedLime>,
    #[schema(max_items = 30)]
    pub rounds: Vec<RoundPlan>,
    #[schema(max_items = 10)]
    pub skipped: Vec<RoundLeftOut>,
    /// Days from the first that was planned for to the end of the season's calendar on which no fertilizer of the programme may go
    /// down, and why. A plan in short does not tell them.
    #[schema(max_items = 600)]
    pub closed: Vec<ClosedDays>,
    /// What cannot be met, and which constraints collide.
    #[schema(max_items = 3)]
    pub unmet: Vec<UnmetNeed>,
    pub delivers: Nutrients,
    /// Price of the product that is put down, by the price of a bag, rounded up to the cent.
    pub price_usd: Price,
    pub price_derivation: Derivation,
    /// What would make the plan more certain, in sentences.
    #[schema(max_items = 40, value_type = Vec<Sentence>)]
    pub gaps: Vec<String>,
    #[schema(max_length = 400)]
    pub caution: &'static str,
}

pub(super) const CAUTION: &str = "Planned for a mild and dry day on moist ground. It permits nothing: on the day everything is asked again, with the weather and the ground as they are. The label and the local authority prevail, and licensed practice decides.";

/// How the price of a plan follows from its rounds.
pub(super) fn price(plan: &SeasonPlan, offered: &[(ProductId, PlanProduct)]) -> Derivation {
    let mut derivation =
        Derivation::of("price of the product", "sum of product / net weight of a bag x price of a bag");
    for round in &plan.rounds {
        if let Some((_, product)) = offered.get(round.product) {
            derivation = derivation
                .with(&format!("{} on {}", product.name, round.on), round.product_lb)
                .with("net weight of a bag", product.bag_lb)
                .with("price of a bag", product.bag_price_usd);
        }
    }
    derivation
        .from_source(SourceMark::Own, "Prices that the office entered with the program")
        .gives(plan.price_usd, "up to the cent")
        .derivation
}
