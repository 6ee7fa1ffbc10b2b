//! The lime that a report asks for: whose figure it is, in which material, in how many parts. What is not known is said, and
//! nothing is put in its place.

use serde::{Deserialize, Serialize};

use super::{
    SoilCategory,
    lime::{LimeGoal, material_rounded_down, north_carolina_acidity, north_carolina_rounded_down, penn_state},
    lime_rules::{CapOn, LimePlan, SplitRule, dolomitic, split},
    table::SoilTable,
    target_ph::{TargetPh, georgia_asks_for_lime, target_ph},
};
use crate::{
    explain::{Derivation, Figure, SourceMark},
    land::Species,
    quantity::{Area, LimeCredit, NeutralisingValue, ProductMass, ProductRate, SoilAcidity, SoilPh, quotient_down},
    time::Day,
};

/// Of how much soil the acidity was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
pub enum AcidityPer {
    /// By weight, as Penn State's laboratory does.
    #[serde(rename = "100_g")]
    HundredGrams,
    /// By volume, as North Carolina's laboratory does.
    #[serde(rename = "100_cm3")]
    HundredCubicCentimeters,
}

/// Acidity that lime must neutralise, as the laboratory measured it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Acidity {
    pub meq: SoilAcidity,
    pub per: AcidityPer,
}

/// Whose figure the lime is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LimeBy {
    /// The laboratory's own, entered from its report.
    Laboratory,
    /// Penn State's table for turf: exchangeable acidity of 100 g by the Mehlich buffer, goals 6.0, 6.5 and 7.0.
    PennState,
    /// North Carolina's formula: acidity of 100 cubic centimeters, or its buffer's pH.
    NorthCarolina,
}

/// What is known, and what is asked.
#[derive(Debug, Clone, Copy)]
pub struct LimeQuestion {
    pub species: Option<Species>,
    pub ph: Option<SoilPh>,
    pub buffer_ph: Option<SoilPh>,
    pub acidity: Option<Acidity>,
    pub magnesium: Option<SoilCategory>,
    /// The laboratory's own figure, as pure calcium carbonate.
    pub recommended: Option<ProductRate>,
    pub area: Option<Area>,
    pub by: Option<LimeBy>,
    pub goal: Option<SoilPh>,
    pub credit: LimeCredit,
    pub cce: Option<NeutralisingValue>,
    pub split: Option<SplitRule>,
    pub cap_on: CapOn,
    pub first_on: Day,
}

/// A figure of lime as pure calcium carbonate, and whose it is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LimeNeed {
    pub by: LimeBy,
    pub recommended_lb_per_1000_sqft: ProductRate,
    pub derivation: Derivation,
}

/// The same in a material that one can buy.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LimeMaterial {
    pub cce_percent: NeutralisingValue,
    pub material_lb_per_1000_sqft: ProductRate,
    /// For the whole section; null when it has not been measured or that is more than can be stored.
    pub section_lb: Option<ProductMass>,
    /// How each of the two was worked out.
    #[schema(max_items = 2)]
    pub derivations: Vec<Derivation>,
}

/// What one source's sheet for the grass says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LimeSheetAdvice {
    pub asks_for_lime: bool,
    #[schema(max_length = 200)]
    pub source: String,
    pub mark: SourceMark,
}

/// The whole answer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct LimeResult {
    /// Every range that was read for the grass, a source's own sheet for it first; sources differ.
    #[schema(max_items = 10)]
    pub target_ph: Vec<TargetPh>,
    /// Whether Georgia's sheet for the grass asks for lime at this acidity; null where no sheet was read.
    pub georgia: Option<LimeSheetAdvice>,
    pub lime: Option<LimeNeed>,
    pub material: Option<LimeMaterial>,
    /// The parts and the first day of each.
    pub plan: Option<LimePlan>,
    /// Dolomitic lime is wanted, because magnesium is low (University of Georgia AESL, crop sheet 792).
    pub dolomitic: bool,
    /// What is missing for a whole answer, and where it stands.
    #[schema(max_items = 10, value_type = Vec<LimeNote>)]
    pub not_known: Vec<String>,
    /// What to mind.
    #[schema(max_items = 10, value_type = Vec<LimeNote>)]
    pub cautions: Vec<String>,
}

/// One sentence.
#[derive(Debug, utoipa::ToSchema)]
#[schema(max_length = 300)]
pub struct LimeNote(pub String);

const NO_FIGURE: &str = "How much lime: the report holds no recommendation of lime and no acidity. A pH alone does not say how much; see the laboratory's own recommendation, or enter its acidity.";
const NO_PH: &str = "The soil's pH: the report does not give it.";
const NO_GOAL: &str = "The goal: say which pH is wanted (`goal`), from the ranges of the grass.";
const PENN_GOALS: &str = "Penn State's table has the goals 6, 6.5 and 7 only; take one of them.";
const NO_ACIDITY_G: &str =
    "Penn State's table needs the exchangeable acidity of 100 g of soil, which the report does not give.";
const NO_ACIDITY_CM3: &str = "North Carolina's formula needs the acidity of 100 cubic centimeters of soil or its buffer's pH, which the report does not give.";
const NO_OWN: &str = "The laboratory's own recommendation of lime has not been entered.";
const NO_CCE: &str = "How much of the material, and so the parts and their days: its calcium carbonate equivalent stands on its label (`cce_percent`).";
const TOO_WEAK: &str = "How much of the material: by this calcium carbonate equivalent it would be more than 1,000 lb on 1,000 sq ft. Look at its label again (`cce_percent`).";
const NO_SPLIT: &str =
    "In how many parts: the laboratory's figure names no rule here; take that of its report (`split_rule`).";
const NO_RANGE: &str = "The pH that the grass wants: no range was read for it.";
const NO_SPECIES: &str = "The pH that the grass wants: nobody has entered which grass grows there.";
const MEHLICH: &str = "Penn State's table holds for acidity by its own laboratory's Mehlich buffer; for another method see the laboratory's own recommendation.";
const NC_BUFFER: &str = "North Carolina's formula holds for its own laboratory's buffer and measure by volume; for another method see the laboratory's own recommendation.";
const NC_STANDARD: &str = "North Carolina calls lime with a calcium carbonate equivalent of 90 % standard lime. Whether its formula counts in that or in pure calcium carbonate, as it is taken here, was not read: if in that, a tenth less of the material does.";
const LABEL: &str = "The label of the material and local law prevail. Do not mix lime with fertilizer, and keep it out of water and off pavement.";

/// The figure alone: by the method that is asked for, or that fits what was measured. Nothing where the report says nothing of lime.
pub fn recommendation(question: &LimeQuestion) -> Option<Result<LimeNeed, String>> {
    question.by.or_else(|| usual(question)).map(|by| need(question, by))
}

/// Whose rule splits a figure: that of the laboratory that it comes from, as far as its rule was read.
pub const fn split_rule(by: LimeBy, table: Option<SoilTable>) -> Option<SplitRule> {
    match (by, table) {
        (_, Some(SoilTable::PennStatePuttingGreen)) => Some(SplitRule::PennStateGreens),
        (LimeBy::PennState, _) | (LimeBy::Laboratory, Some(SoilTable::PennStateHomeLawn)) => Some(SplitRule::PennState),
        (LimeBy::NorthCarolina, _) => Some(SplitRule::NorthCarolina),
        (LimeBy::Laboratory, Some(SoilTable::GeorgiaCoastalPlain | SoilTable::GeorgiaPiedmont)) => {
            Some(SplitRule::Georgia)
        }
        (LimeBy::Laboratory, _) => None,
    }
}

/// Answers as far as the facts carry.
pub fn answer(question: &LimeQuestion) -> LimeResult {
    let mut not_known: Vec<&str> = Vec::new();
    let mut cautions = vec![LABEL];
    let target_ph = question.species.map_or(&[][..], target_ph).to_vec();
    match question.species {
        None => not_known.push(NO_SPECIES),
        Some(_) if target_ph.is_empty() => not_known.push(NO_RANGE),
        Some(_) => {}
    }
    let by = question.by.or_else(|| usual(question));
    cautions.extend(match by {
        Some(LimeBy::PennState) => &[MEHLICH][..],
        Some(LimeBy::NorthCarolina) => &[NC_BUFFER, NC_STANDARD],
        Some(LimeBy::Laboratory) | None => &[],
    });
    let lime = match by.map(|by| need(question, by)) {
        None => Err(NO_FIGURE.to_owned()),
        Some(found) => found,
    };
    let mut not_known: Vec<String> = not_known.into_iter().map(str::to_owned).collect();
    let lime = lime.map_err(|why| not_known.push(why)).ok();
    let recommended = lime.as_ref().map_or(ProductRate::ZERO, |need| need.recommended_lb_per_1000_sqft);
    let too_weak = question.cce.is_some_and(|cce| is_too_weak(recommended, cce));
    not_known.extend(too_weak.then(|| TOO_WEAK.to_owned()));
    let cce = question.cce.filter(|_| !too_weak);
    let material = match (&lime, cce) {
        (Some(_), Some(cce)) => Some(material(recommended, cce, question.area)),
        (Some(need), None) if !too_weak && !need.recommended_lb_per_1000_sqft.is_zero() => {
            not_known.push(NO_CCE.to_owned());
            None
        }
        _ => None,
    };
    let plan = lime.as_ref().and_then(|need| plan(question, need, cce, &mut not_known));
    let georgia = question.species.zip(question.ph).and_then(|(species, ph)| {
        let asks_for_lime = georgia_asks_for_lime(species, ph)?;
        let source = "University of Georgia AESL, crop sheets 792, BCM and 772".to_owned();
        Some(LimeSheetAdvice { asks_for_lime, source, mark: SourceMark::Read })
    });
    LimeResult {
        target_ph,
        georgia,
        lime,
        material,
        plan,
        dolomitic: dolomitic(question.magnesium, recommended),
        not_known,
        cautions: cautions.into_iter().map(str::to_owned).collect(),
    }
}

/// The laboratory's own figure prevails; else the method that fits how the acidity was measured.
fn usual(question: &LimeQuestion) -> Option<LimeBy> {
    if question.recommended.is_some() {
        return Some(LimeBy::Laboratory);
    }
    question.acidity.map(|acidity| match acidity.per {
        AcidityPer::HundredGrams => LimeBy::PennState,
        AcidityPer::HundredCubicCentimeters => LimeBy::NorthCarolina,
    })
}

fn need(question: &LimeQuestion, by: LimeBy) -> Result<LimeNeed, String> {
    if by == LimeBy::Laboratory {
        let rate = question.recommended.ok_or(NO_OWN)?;
        let derivation = Derivation::of("lime as pure calcium carbonate", "as the laboratory recommends it")
            .from_source(SourceMark::Read, "The laboratory's own report, as it was entered")
            .gives(rate, "as entered")
            .derivation;
        return Ok(LimeNeed { by, recommended_lb_per_1000_sqft: rate, derivation });
    }
    let ph = question.ph.ok_or(NO_PH)?;
    let goal = question.goal.ok_or(NO_GOAL)?;
    let measured = |per| question.acidity.filter(|acidity| acidity.per == per).map(|acidity| acidity.meq);
    let found: Figure<ProductRate> = if by == LimeBy::PennState {
        let acidity = measured(AcidityPer::HundredGrams).ok_or(NO_ACIDITY_G)?;
        let goals = [LimeGoal::Six, LimeGoal::SixAndAHalf, LimeGoal::Seven];
        let goal = goals.into_iter().find(|known| known.ph() == goal).ok_or(PENN_GOALS)?;
        penn_state(ph, acidity, goal).map_err(|fault| format!("{fault}."))?
    } else {
        let by_buffer = || question.buffer_ph.map(north_carolina_acidity);
        let acidity = measured(AcidityPer::HundredCubicCentimeters).or_else(by_buffer).ok_or(NO_ACIDITY_CM3)?;
        north_carolina_rounded_down(ph, goal, acidity, question.credit.raw()).map_err(|fault| format!("{fault}."))?
    };
    Ok(LimeNeed { by, recommended_lb_per_1000_sqft: found.value, derivation: found.derivation })
}

fn material(recommended: ProductRate, cce: NeutralisingValue, area: Option<Area>) -> LimeMaterial {
    let Figure { value, derivation } = material_rounded_down(recommended, cce);
    let mut derivations = vec![derivation];
    let section_lb = area.and_then(|area| {
        // Millionths of a pound on 1,000 sq ft times hundredths of a square foot.
        let raw = quotient_down(i128::from(value.raw()) * i128::from(area.raw()), 100_000);
        let mass = ProductMass::checked(raw).ok()?;
        let figure = Derivation::of("liming material for the section", "material x area / 1,000")
            .with("material", value)
            .with("area", area)
            .from_source(SourceMark::Computed, "Follows from the rate and the section's area in force")
            .gives(mass, "down to the millionth of a pound");
        derivations.push(figure.derivation);
        Some(mass)
    });
    LimeMaterial { cce_percent: cce, material_lb_per_1000_sqft: value, section_lb, derivations }
}

/// Whether a material would have to lie thicker than any product may be written down here.
fn is_too_weak(recommended: ProductRate, cce: NeutralisingValue) -> bool {
    ProductRate::checked(material_rounded_down(recommended, cce).value.raw()).is_err()
}

fn plan(
    question: &LimeQuestion,
    need: &LimeNeed,
    cce: Option<NeutralisingValue>,
    not_known: &mut Vec<String>,
) -> Option<LimePlan> {
    let usual = match need.by {
        LimeBy::PennState => Some(SplitRule::PennState),
        LimeBy::NorthCarolina => Some(SplitRule::NorthCarolina),
        LimeBy::Laboratory => None,
    };
    let Some(rule) = question.split.or(usual) else {
        if !need.recommended_lb_per_1000_sqft.is_zero() {
            not_known.push(NO_SPLIT.to_owned());
        }
        return None;
    };
    // Without the material's strength its parts cannot be told.
    Some(split(need.recommended_lb_per_1000_sqft, cce?, rule, question.cap_on, question.first_on))
}
