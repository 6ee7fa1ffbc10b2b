//! What a section needs in a season: from a published programme and the lawn's level, or as the office entered it, less what
//! clippings and shade spare, less what was put down already. What nobody has said is named and never guessed.

use serde::{Deserialize, Serialize};

use super::{
    model::SeasonNeed,
    published::{Maintenance, Published},
    timing::{Credits, Shade},
};
use crate::{
    explain::{Derivation, SourceMark},
    quantity::NutrientRate,
    time::Day,
};

/// Where the nitrogen of the year comes from.
#[derive(Debug, Clone, Copy)]
pub enum NitrogenSource<'a> {
    /// Of a published programme, at a level.
    Published(&'static Published, Maintenance),
    /// The office's own figure, with what it rests on.
    Entered(NutrientRate, &'a str),
}

/// Where phosphate or potash of the year comes from.
#[derive(Debug, Clone, Copy)]
pub enum OtherSource<'a> {
    /// What a laboratory recommends for the year: figure, laboratory, day of the sample.
    Report(NutrientRate, &'a str, Day),
    /// The office's own figure, with what it rests on.
    Entered(NutrientRate, &'a str),
    /// Nobody has said: none is planned.
    Nowhere,
}

/// What was put down in the season already, or is planned apart from the rounds that are asked about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Spent {
    pub nitrogen: NutrientRate,
    pub phosphate: NutrientRate,
    pub potash: NutrientRate,
}

/// What is known of the lawn and the year.
#[derive(Debug, Clone, Copy)]
pub struct NeedQuestion<'a> {
    pub nitrogen: NitrogenSource<'a>,
    pub phosphate: OtherSource<'a>,
    pub potash: OtherSource<'a>,
    /// Whether clippings are left; nothing when nobody has said.
    pub clippings_left: Option<bool>,
    /// The light that the lawn gets; nothing when nobody has said.
    pub shade: Option<Shade>,
    pub credits: Credits,
    pub spent: Spent,
}

/// One nutrient's need.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct NeededRate {
    /// What is still to be put down this season.
    pub still_lb_per_1000_sqft: NutrientRate,
    /// The whole season's, credits taken off.
    pub season_lb_per_1000_sqft: NutrientRate,
    pub derivation: Derivation,
}

/// A section's need, and what nobody has said.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct ComputedNeed {
    pub nitrogen: NeededRate,
    pub phosphate: NeededRate,
    pub potash: NeededRate,
    /// What would make it more certain, in sentences.
    #[schema(max_items = 8, value_type = Vec<crate::explain::Sentence>)]
    pub gaps: Vec<String>,
}

impl ComputedNeed {
    /// The need as a plan takes it.
    pub fn season_need(&self) -> SeasonNeed {
        SeasonNeed {
            nitrogen_lb_per_1000_sqft: self.nitrogen.still_lb_per_1000_sqft,
            phosphate_lb_per_1000_sqft: self.phosphate.still_lb_per_1000_sqft,
            potash_lb_per_1000_sqft: self.potash.still_lb_per_1000_sqft,
        }
    }
}

/// Reckons it. Credits are taken off nitrogen alone: it is nitrogen that the sources speak of.
pub fn reckon(question: &NeedQuestion<'_>) -> ComputedNeed {
    let mut gaps = Vec::new();
    if question.clippings_left.is_none() {
        gaps.push("Nobody has said whether clippings are left; no credit is taken for them.".to_owned());
    }
    if question.shade.is_none() {
        gaps.push("Nobody has said how much light the lawn gets; no credit is taken for shade.".to_owned());
    }
    let spent = question.spent;
    ComputedNeed {
        nitrogen: nitrogen(question),
        phosphate: other("P2O5", question.phosphate, spent.phosphate, &mut gaps),
        potash: other("K2O", question.potash, spent.potash, &mut gaps),
        gaps,
    }
}

fn nitrogen(question: &NeedQuestion<'_>) -> NeededRate {
    let (year, derivation) = match question.nitrogen {
        NitrogenSource::Published(programme, level) => (
            programme.at_level(level),
            begun("N")
                .with_text("level of the lawn", &level.label(), "")
                .with("nitrogen of the program at this care level", programme.at_level(level))
                .from_source(
                    programme.mark,
                    &format!(
                        "{} ({}). The source prints ranges and optional steps; that low takes the least and high all of them is common practice",
                        programme.source, programme.name
                    ),
                ),
        ),
        NitrogenSource::Entered(rate, because) => {
            (rate, begun("N").with("nitrogen that the office entered", rate).from_source(SourceMark::Own, because))
        }
    };
    // Medium and heavy shade are shade; an edge belongs to the lighter class.
    let shaded = question.shade.is_some_and(|shade| shade != Shade::Light);
    let left = question.clippings_left == Some(true);
    let season = question.credits.off_rounded_down(year, left, shaded);
    let percent = |applies: bool, percent| if applies { percent } else { crate::quantity::Percent::ZERO };
    let derivation = derivation
        .with("credit for clippings that are left", percent(left, question.credits.clippings_percent))
        .with("credit for shade", percent(shaded, question.credits.shade_percent))
        .converting("credits: clippings a fourth less (Idaho; NC State, up to 25 %), shade about half (Illinois, Lawn Talk); classes of light by the University of Connecticut; a company's own setting goes before them");
    finish(derivation, season, question.spent.nitrogen)
}

fn other(nutrient: &str, source: OtherSource<'_>, spent: NutrientRate, gaps: &mut Vec<String>) -> NeededRate {
    let begun = begun(nutrient);
    let (season, derivation) = match source {
        OtherSource::Report(rate, laboratory, sampled_on) => (
            rate,
            begun
                .with("recommended for the year", rate)
                .with_text("sampled on", &sampled_on, "")
                .from_source(SourceMark::Read, &format!("Soil report of {laboratory}")),
        ),
        OtherSource::Entered(rate, because) => {
            (rate, begun.with("the office entered", rate).from_source(SourceMark::Own, because))
        }
        OtherSource::Nowhere => {
            gaps.push(format!(
                "No soil report recommends {nutrient} and nobody has entered a need; none is planned. See the laboratory's own recommendation."
            ));
            let nothing = NutrientRate::ZERO;
            (nothing, begun.from_source(SourceMark::Own, "No report and no entry: nothing is guessed"))
        }
    };
    finish(derivation, season, spent)
}

fn begun(nutrient: &str) -> Derivation {
    Derivation::of(
        &format!("{nutrient} still needed in the season"),
        "need of the year x (1 - clippings) x (1 - shade) - put down or planned already, never below zero",
    )
}

fn finish(derivation: Derivation, season: NutrientRate, spent: NutrientRate) -> NeededRate {
    let still = NutrientRate::from_raw((season.raw() - spent.raw()).max(0));
    let derivation = derivation.with("put down or planned already this season", spent);
    NeededRate {
        still_lb_per_1000_sqft: still,
        season_lb_per_1000_sqft: season,
        derivation: derivation.gives(still, "down to the millionth of a pound").derivation,
    }
}
