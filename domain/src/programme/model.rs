//! The question of a season and its answer.

use serde::{Deserialize, Serialize};

use super::{
    frame::{Frame, FrameStep, PlannedStep},
    liming::{LimeAsked, PlannedLime},
};
use crate::{
    explain::Derivation,
    facts::{Facts, PastApplication},
    product::{Label, Nutrients, arithmetic::GradeNutrient},
    quantity::{Area, NeutralisingValue, NutrientRate, Price, ProductMass, ProductRate},
    time::Day,
};

/// One pass over the lawns, with the days on which the company means to make it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanRound {
    #[schema(min_length = 1, max_length = 120, example = "early autumn")]
    pub name: String,
    pub from: Day,
    pub to: Day,
    /// Most nitrogen that the company puts down in it, below whatever the law allows.
    #[serde(default)]
    pub nitrogen_at_most_lb_per_1000_sqft: Option<NutrientRate>,
}

/// A product that may be used.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanProduct {
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    pub label: Label,
    pub bag_lb: ProductMass,
    pub bag_price_usd: Price,
    pub on_hand_lb: ProductMass,
    /// Whether more of it may be bought.
    pub may_buy: bool,
    /// Of a liming material: what it neutralises, by its label. It goes down for the soil report's lime alone.
    #[serde(default)]
    pub cce_percent: Option<NeutralisingValue>,
}

/// What the section needs over the planned rounds, clippings and shade already credited.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SeasonNeed {
    pub nitrogen_lb_per_1000_sqft: NutrientRate,
    /// Never brought beyond this.
    pub phosphate_lb_per_1000_sqft: NutrientRate,
    pub potash_lb_per_1000_sqft: NutrientRate,
}

/// What the plan makes least of, after meeting the need.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PlanGoal {
    LeastCost,
    /// As few different products as can be, then least cost.
    FewestProducts,
}

/// The question. `facts_on` gives the facts of the section on a day, as one line, with the conditions that the company plans
/// for: mild and dry, the ground as it should be. Label and product are put in here.
#[derive(Clone, Copy)]
pub struct SeasonQuestion<'a> {
    pub rule_sets: &'a [String],
    pub facts_on: &'a dyn Fn(Day) -> Facts,
    pub rounds: &'a [PlanRound],
    pub products: &'a [PlanProduct],
    pub need: SeasonNeed,
    /// The schedule that the nitrogen follows, if the need is a schedule's: none goes down but in its steps.
    pub frame: Option<&'a Frame>,
    /// The lime that the soil report asks for, if it asks for any.
    pub lime: Option<&'a LimeAsked>,
    /// Less of a product is not worth the pass.
    pub least_product: ProductRate,
    pub aim: PlanGoal,
}

impl SeasonQuestion<'_> {
    /// A round in a cell, as it will stand in the book.
    pub(super) fn as_past(&self, cell: &Cell, mass: ProductMass, area: Area) -> Option<PastApplication> {
        let label = &self.products.get(cell.product)?.label;
        Some(PastApplication::planned(label, mass, (cell.on, area), (self.facts_on)(cell.on).purpose))
    }
}

impl std::fmt::Debug for SeasonQuestion<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SeasonQuestion").field("rounds", &self.rounds).field("need", &self.need).finish_non_exhaustive()
    }
}

/// One planned round.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct PlannedRound {
    /// Which of the rounds, counted from zero.
    #[schema(maximum = 100)]
    pub round: usize,
    /// The first day in it on which nothing known forbids the work.
    pub on: Day,
    /// Which of the products, counted from zero.
    #[schema(maximum = 1_000)]
    pub product: usize,
    /// Which step of the schedule it is, counted from zero; null without a schedule, and for a product without nitrogen.
    #[schema(maximum = 100)]
    pub step: Option<usize>,
    pub product_lb: ProductMass,
    /// Rounded down.
    pub product_lb_per_1000_sqft: ProductRate,
    pub delivers: Nutrients,
    pub derivation: Derivation,
}

/// A round that is left out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct SkippedRound {
    #[schema(maximum = 100)]
    pub round: usize,
    #[schema(max_length = 600)]
    pub why: String,
}

/// A need that the plan cannot meet, and what stands against each other.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct UnmetNeed {
    pub nutrient: GradeNutrient,
    /// Rounded up.
    pub missing_lb_per_1000_sqft: NutrientRate,
    /// Each of these, without the others, would have to give way for more to be met; or, where no single one is enough, those
    /// that would together. Rounds that are closed, over or given out are named beside them.
    #[schema(max_items = 200, value_type = Vec<crate::explain::Sentence>)]
    pub conflicts_with: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct SeasonPlan {
    #[schema(max_items = 100)]
    pub rounds: Vec<PlannedRound>,
    #[schema(max_items = 100)]
    pub skipped: Vec<SkippedRound>,
    /// Every step of the schedule that the plan follows; none where it follows none.
    #[schema(max_items = 24)]
    pub steps: Vec<PlannedStep>,
    /// The lime that the soil report asks for; null where it asks for none.
    pub lime: Option<PlannedLime>,
    #[schema(max_items = 3)]
    pub unmet: Vec<UnmetNeed>,
    pub delivers: Nutrients,
    /// Price of the product that is put down, by the price of a bag, rounded up to the cent. Not that of whole bags.
    pub price_usd: Price,
}

/// A product in a round.
#[derive(Debug, Clone)]
pub(super) struct Cell {
    pub round: usize,
    pub product: usize,
    /// The step of the schedule that it would be.
    pub step: Option<usize>,
    pub on: Day,
    /// The most that the rules let through with nothing else planned; nothing when no rule limits it.
    pub most: Option<ProductMass>,
    /// What sets it, in words.
    pub most_words: String,
}

/// Why a round is closed for a product.
#[derive(Debug, Clone)]
pub(super) struct Closed {
    pub round: usize,
    /// The step of the schedule for which it is closed; nothing where the schedule has none in it, or there is no schedule.
    pub step: Option<usize>,
    pub why: String,
}

impl SeasonQuestion<'_> {
    /// Whether a product brings nitrogen, and so goes down in the schedule's steps only. A round takes one product that does and
    /// one that does not.
    pub(super) fn feeds(&self, product: usize) -> bool {
        self.products.get(product).is_some_and(|product| !product.label.nitrogen_percent.is_zero())
    }

    /// Whether nitrogen that stands recorded or promised went down within so many days before or after a day.
    pub(super) fn was_fed_near(&self, on: Day, days: i32) -> bool {
        let facts = (self.facts_on)(on);
        let mut past = facts.lines.iter().flat_map(|line| &line.section.past);
        past.any(|past| past.nutrients.nitrogen_lb.raw() > 0 && past.on.days_since(on).abs() < days)
    }

    pub(super) fn steps(&self) -> &[FrameStep] {
        self.frame.map_or(&[], |frame| &frame.steps)
    }
}
