//! What rules count, and how it follows from a label.

use serde::{Deserialize, Serialize};

use crate::{
    product::{Label, Nutrients},
    quantity::{Limit, NutrientRate, Percent, RateSum},
};

/// Phosphorus in ten thousand parts of P2O5, by the table from which the rows of law were converted; the exact molar ratio
/// of NIST's atomic weights is 0.436427.
pub(crate) const PHOSPHORUS_PARTS: i64 = 4364;
pub(crate) const WHOLE: i64 = 10_000;

/// What a rule counts. Phosphorus and phosphate are two nutrients, and so are the forms of nitrogen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Nutrient {
    NitrogenTotal,
    NitrogenQuick,
    NitrogenSlow,
    Phosphate,
    Phosphorus,
    Potash,
    AnyFertilizer,
}

impl Nutrient {
    /// How a sentence calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::NitrogenTotal => "N",
            Self::NitrogenQuick => "quick-release N",
            Self::NitrogenSlow => "slow-release N",
            Self::Phosphate => "P2O5",
            Self::Phosphorus => "P",
            Self::Potash => "K2O",
            Self::AnyFertilizer => "fertilizer",
        }
    }

    /// Its share of a product's weight; of phosphorus, the share of the phosphate it is counted by.
    pub fn share(self, label: &Label) -> Percent {
        match self {
            Self::NitrogenTotal => label.nitrogen_percent,
            Self::NitrogenQuick => label.quick_nitrogen_percent(),
            Self::NitrogenSlow => label.slow_nitrogen_percent,
            Self::Phosphate | Self::Phosphorus => label.phosphate_percent,
            Self::Potash => label.potash_percent,
            Self::AnyFertilizer => Percent::from_raw(WHOLE),
        }
    }

    /// Its mass in 1e-10 lb; of phosphorus, the mass of the phosphate it is counted by.
    pub fn load(self, nutrients: &Nutrients) -> i64 {
        match self {
            Self::NitrogenTotal => nutrients.nitrogen_lb.raw(),
            Self::NitrogenQuick => nutrients.quick_nitrogen_lb.raw(),
            Self::NitrogenSlow => nutrients.nitrogen_lb.raw() - nutrients.quick_nitrogen_lb.raw(),
            Self::Phosphate | Self::Phosphorus => nutrients.phosphate_lb.raw(),
            Self::Potash => nutrients.potash_lb.raw(),
            // Only a closed season speaks of any fertilizer, and zero needs no mass of it.
            Self::AnyFertilizer => 0,
        }
    }

    /// Whether a load puts the nutrient down, takes it back, or does neither. Any fertilizer is nitrogen, phosphate or potash.
    pub fn sign(self, nutrients: &Nutrients) -> i64 {
        match self {
            Self::AnyFertilizer => {
                let (nitrogen, phosphate) = (nutrients.nitrogen_lb.raw(), nutrients.phosphate_lb.raw());
                [nitrogen, phosphate, nutrients.potash_lb.raw()].iter().map(|load| load.signum()).sum::<i64>().signum()
            }
            _ => self.load(nutrients).signum(),
        }
    }

    /// A limit of this nutrient, as a limit on the loads above.
    pub fn limit(self, rate: NutrientRate) -> Limit {
        match self {
            Self::Phosphorus => Limit::on_part(rate, PHOSPHORUS_PARTS, WHOLE),
            _ => rate.into(),
        }
    }

    /// A sum of the loads above as a rate of this nutrient, rounded up.
    pub fn rate(self, sum: &RateSum) -> NutrientRate {
        match self {
            Self::Phosphorus => sum.part_rounded_up(PHOSPHORUS_PARTS, WHOLE),
            _ => sum.rounded_up(),
        }
    }
}
