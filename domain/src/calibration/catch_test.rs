//! One calibration as it is written down and kept: what was measured, and what follows. It belongs to an equipment, a
//! product, an operator and a day, which the record names beside it.

use serde::{Deserialize, Serialize};

use super::{Acceptance, CalibrationFault, accept, half_rate_rounded_down, pattern, pattern::SwathBy, spray, spreader};
use crate::{
    explain::Derivation,
    quantity::{AcreRate, Area, Catch, CaughtVolume, Distance, Inches, ProductMass, ProductRate, SprayRate, Volume},
};

/// What was measured.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case", tag = "method", deny_unknown_fields)]
pub enum CatchTest {
    /// Granules, weighed before and after a measured walk. `swath_by` says how the swath was found.
    Course {
        put_in_lb: ProductMass,
        left_over_lb: ProductMass,
        swath_ft: Distance,
        swath_by: SwathBy,
        distance_ft: Distance,
        target_lb_per_1000_sqft: ProductRate,
    },
    /// Granules on ground whose area is known.
    KnownArea {
        put_in_lb: ProductMass,
        left_over_lb: ProductMass,
        area_sqft: Area,
        target_lb_per_1000_sqft: ProductRate,
    },
    /// A row of pans across the path of a rotary spreader, from left to right with the centre in the middle.
    Pans {
        #[schema(min_items = 3, max_items = 201)]
        catches: Vec<Catch>,
        spacing_ft: Distance,
    },
    /// A spray gun or hand sprayer: caught in the time that an area takes.
    Gun { caught_gal: Volume, area_sqft: Area, target_gal_per_1000_sqft: SprayRate },
    /// One nozzle of a boom over a timed course.
    Boom {
        caught_fl_oz: CaughtVolume,
        /// What each other nozzle gave in the same time, in their order, so that a worn one is found.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        #[schema(max_items = 100)]
        other_nozzles_fl_oz: Vec<CaughtVolume>,
        spacing_in: Inches,
        course_ft: Distance,
        target_gal_per_acre: AcreRate,
    },
}

/// What a test found. Only what its method can find is there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct CatchResult {
    pub product_lb_per_1000_sqft: Option<ProductRate>,
    /// For each of two passes at right angles: half of the target.
    pub half_rate_lb_per_1000_sqft: Option<ProductRate>,
    pub spray_gal_per_1000_sqft: Option<SprayRate>,
    pub spray_gal_per_acre: Option<AcreRate>,
    pub effective_swath_ft: Option<Distance>,
    /// How even the spread is when passes lie the effective swath apart.
    pub variation: Option<pattern::Variation>,
    /// Nozzles that are further than 10 % from the mean of all and are replaced: 1 is the one that the rate is found with, 2 the
    /// first of the others. Left out where no other was caught.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_items = 101, nullable = false, value_type = Vec<NozzleNumber>)]
    pub worn_nozzles: Option<Vec<usize>>,
    /// Against the target; nothing for a row of pans, which has none.
    pub acceptance: Option<Acceptance>,
    #[schema(max_items = 5)]
    pub derivations: Vec<Derivation>,
}

/// A nozzle, counted from 1.
#[derive(Debug, utoipa::ToSchema)]
#[schema(minimum = 1, maximum = 101)]
pub struct NozzleNumber(pub u8);

const NOTHING: CatchResult = CatchResult {
    product_lb_per_1000_sqft: None,
    half_rate_lb_per_1000_sqft: None,
    spray_gal_per_1000_sqft: None,
    spray_gal_per_acre: None,
    effective_swath_ft: None,
    variation: None,
    worn_nozzles: None,
    acceptance: None,
    derivations: Vec::new(),
};

impl CatchResult {
    /// Whether it is a rate of product or spray, and not the swath of a row of pans.
    pub const fn rate_was_found(&self) -> bool {
        self.product_lb_per_1000_sqft.is_some() || self.spray_gal_per_1000_sqft.is_some()
    }
}

impl CatchTest {
    /// Works a test out.
    pub fn result(&self) -> Result<CatchResult, CalibrationFault> {
        match self {
            Self::Course { put_in_lb, left_over_lb, swath_ft, distance_ft, target_lb_per_1000_sqft, .. } => {
                let rate = spreader::delivered_rate_rounded_up(*put_in_lb, *left_over_lb, *swath_ft, *distance_ft)?;
                Ok(granules(rate, *target_lb_per_1000_sqft))
            }
            Self::KnownArea { put_in_lb, left_over_lb, area_sqft, target_lb_per_1000_sqft } => {
                let rate = spreader::known_area_rate_rounded_up(*put_in_lb, *left_over_lb, *area_sqft)?;
                Ok(granules(rate, *target_lb_per_1000_sqft))
            }
            Self::Pans { catches, spacing_ft } => pans(catches, *spacing_ft),
            Self::Gun { caught_gal, area_sqft, target_gal_per_1000_sqft } => {
                let rate = spray::known_area_rate_rounded_up(*caught_gal, *area_sqft)?;
                Ok(CatchResult {
                    spray_gal_per_1000_sqft: Some(rate.value),
                    spray_gal_per_acre: Some(rate.value.per_acre_rounded_nearest()),
                    acceptance: Some(accept(rate.value, *target_gal_per_1000_sqft)),
                    derivations: vec![rate.derivation],
                    ..NOTHING
                })
            }
            Self::Boom { caught_fl_oz, other_nozzles_fl_oz, spacing_in, course_ft, target_gal_per_acre } => {
                let rate = spray::boom_rate_rounded_up(*caught_fl_oz, *spacing_in, *course_ft)?;
                let all: Vec<CaughtVolume> =
                    std::iter::once(caught_fl_oz).chain(other_nozzles_fl_oz).copied().collect();
                let worn = || spray::worn_nozzles(&all).into_iter().map(|at| at + 1).collect();
                let several = !other_nozzles_fl_oz.is_empty();
                let derivations =
                    std::iter::once(rate.derivation).chain(several.then(|| spray::evenness(&all))).collect();
                Ok(CatchResult {
                    worn_nozzles: several.then(worn),
                    spray_gal_per_1000_sqft: Some(rate.value.per_1000_sqft_rounded_nearest()),
                    spray_gal_per_acre: Some(rate.value),
                    acceptance: Some(accept(rate.value, *target_gal_per_acre)),
                    derivations,
                    ..NOTHING
                })
            }
        }
    }
}

fn granules(rate: crate::explain::Figure<ProductRate>, target: ProductRate) -> CatchResult {
    let half = half_rate_rounded_down(target);
    CatchResult {
        product_lb_per_1000_sqft: Some(rate.value),
        half_rate_lb_per_1000_sqft: Some(half.value),
        acceptance: Some(accept(rate.value, target)),
        derivations: vec![rate.derivation, half.derivation],
        ..NOTHING
    }
}

/// The swath of a row, and how even it is when passes lie that far apart, to the whole pan.
fn pans(catches: &[Catch], spacing: Distance) -> Result<CatchResult, CalibrationFault> {
    let swath = pattern::effective_swath_rounded_down(catches, spacing)?;
    let apart = usize::try_from(swath.value.raw() / spacing.raw().max(1)).unwrap_or(0).clamp(1, catches.len());
    let variation = pattern::variation(catches, apart)?;
    Ok(CatchResult {
        effective_swath_ft: Some(swath.value),
        derivations: vec![swath.derivation, variation.derivation.clone()],
        variation: Some(variation),
        ..NOTHING
    })
}
