//! A label, and the nutrients a mass of product delivers.

pub mod amounts;
pub mod arithmetic;
pub mod blend;
pub mod blend_price;
pub mod buying;
pub mod epa;
pub mod guarantee;
pub mod liquid;
pub mod pesticide;
pub mod printed;
pub mod printed_check;

use serde::{Deserialize, Serialize};

use crate::quantity::{
    Area, NeutralisingValue, NutrientRate, Percent, Phosphate, Potash, ProductMass, ProductRate, QuickNitrogen,
    RateSum, Temperature, TotalNitrogen, WindSpeed, largest_product,
};

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ProductForm {
    Granular,
    Liquid,
}

/// What a label says, as far as rules read it. Percentages are of the weight of the product.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
#[expect(clippy::struct_excessive_bools, reason = "each is one plain claim of a label")]
pub struct Label {
    pub form: ProductForm,
    /// Nitrogen of every form.
    pub nitrogen_percent: Percent,
    /// Of it, slowly available nitrogen: water-insoluble, coated or slowly available water-soluble. Never more than the
    /// total. Nitrogen that is only stabilised by an inhibitor is water-soluble and not counted here.
    pub slow_nitrogen_percent: Percent,
    /// Available phosphate, P2O5.
    pub phosphate_percent: Percent,
    /// Soluble potash, K2O.
    pub potash_percent: Percent,
    /// Labelled as an enhanced-efficiency fertilizer.
    #[serde(default)]
    pub enhanced_efficiency: bool,
    /// Share of the nitrogen that an enhanced-efficiency product releases in a month, if the label or its maker says so.
    #[serde(default)]
    pub release_percent_per_month: Option<Percent>,
    /// Labelled as natural organic or organic-based fertilizer.
    #[serde(default)]
    pub organic: bool,
    /// Compost, or labelled as made of compost.
    #[serde(default)]
    pub compost: bool,
    /// Labelled for first establishment or repair of turf.
    #[serde(default)]
    pub labelled_for_establishment: bool,
    /// Labelled with enhanced-efficiency phosphorus. Named only where it is, so that earlier labels read as they were written.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub enhanced_efficiency_phosphorus: bool,
    /// Most product that the label allows on 1,000 sq ft in one application.
    #[serde(default)]
    pub product_limit_lb_per_1000_sqft: Option<ProductRate>,
    /// Hottest air in which the label allows application.
    #[serde(default)]
    pub air_temperature_limit_f: Option<Temperature>,
    /// Strongest wind in which the label allows application, gusts included.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wind_limit_mph: Option<WindSpeed>,
    /// Whatever else the label prints; left out when nobody has copied it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub printed: Option<Box<printed::PrintedLabel>>,
}

impl Label {
    /// A granular label that holds each nutrient that rules tell apart, for questions about no product in particular.
    pub(crate) const fn with_every_nutrient() -> Self {
        Self {
            form: ProductForm::Granular,
            nitrogen_percent: Percent::from_raw(1_000),
            slow_nitrogen_percent: Percent::from_raw(500),
            phosphate_percent: Percent::from_raw(1_000),
            potash_percent: Percent::from_raw(1_000),
            enhanced_efficiency: false,
            release_percent_per_month: None,
            organic: false,
            compost: false,
            labelled_for_establishment: false,
            enhanced_efficiency_phosphorus: false,
            product_limit_lb_per_1000_sqft: None,
            air_temperature_limit_f: None,
            wind_limit_mph: None,
            printed: None,
        }
    }
}

/// Nutrients in a mass of product, exact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Nutrients {
    pub nitrogen_lb: TotalNitrogen,
    pub quick_nitrogen_lb: QuickNitrogen,
    pub phosphate_lb: Phosphate,
    pub potash_lb: Potash,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum LabelFault {
    #[error("slowly available nitrogen cannot be more than all nitrogen; copy both from the guaranteed analysis")]
    SlowAboveTotal,
    #[error(
        "nitrogen, phosphate and potash together are more than the product weighs; copy them from the guaranteed analysis"
    )]
    AboveWhole,
}

impl Label {
    /// Percentages that no bag can have.
    pub fn faults(&self) -> Vec<LabelFault> {
        let mut faults = Vec::new();
        if self.slow_nitrogen_percent > self.nitrogen_percent {
            faults.push(LabelFault::SlowAboveTotal);
        }
        if self.nitrogen_percent.raw() + self.phosphate_percent.raw() + self.potash_percent.raw() > 10_000 {
            faults.push(LabelFault::AboveWhole);
        }
        faults
    }

    /// Quick-release nitrogen: what the label does not claim to be slow.
    pub fn quick_nitrogen_percent(&self) -> Percent {
        Percent::from_raw((self.nitrogen_percent.raw() - self.slow_nitrogen_percent.raw()).max(0))
    }

    /// Its pesticide half, of a combination product.
    pub fn pesticide(&self) -> Option<&pesticide::PesticidePart> {
        self.printed.as_ref()?.pesticide.as_ref()
    }

    /// What it neutralises, of a liming material: a product that states it and brings no nitrogen.
    pub fn liming_cce(&self) -> Option<NeutralisingValue> {
        self.cce().filter(|_| self.nitrogen_percent.is_zero())
    }

    /// Its calcium carbonate equivalent, whatever else is in it.
    pub fn cce(&self) -> Option<NeutralisingValue> {
        self.printed.as_ref().and_then(|printed| printed.cce_percent)
    }

    /// Slowly available nitrogen in percent of all nitrogen, times a hundred, rounded down; nothing without nitrogen.
    pub fn slow_share(&self) -> Option<Percent> {
        let total = self.nitrogen_percent.raw();
        (total > 0).then(|| Percent::from_raw(self.slow_nitrogen_percent.raw() * 10_000 / total))
    }

    /// What a mass of this product delivers.
    pub fn nutrients_in(&self, product: ProductMass) -> Nutrients {
        let part = |percent: Percent| product.raw().saturating_mul(percent.raw());
        Nutrients {
            nitrogen_lb: TotalNitrogen::from_raw(part(self.nitrogen_percent)),
            quick_nitrogen_lb: QuickNitrogen::from_raw(part(self.quick_nitrogen_percent())),
            phosphate_lb: Phosphate::from_raw(part(self.phosphate_percent)),
            potash_lb: Potash::from_raw(part(self.potash_percent)),
        }
    }

    /// The grade as the trade writes it: `24-0-10`.
    pub fn grade(&self) -> String {
        format!("{}-{}-{}", self.nitrogen_percent, self.phosphate_percent, self.potash_percent)
    }
}

/// The product that puts a rate of nitrogen on an area, rounded down; nothing for a product without nitrogen.
pub fn product_for_target(label: &Label, area: Area, nitrogen: NutrientRate) -> Option<ProductMass> {
    largest_product(RateSum::default().largest_load(nitrogen, area), label.nitrogen_percent)
}

impl Nutrients {
    pub const NONE: Self = Self {
        nitrogen_lb: TotalNitrogen::ZERO,
        quick_nitrogen_lb: QuickNitrogen::ZERO,
        phosphate_lb: Phosphate::ZERO,
        potash_lb: Potash::ZERO,
    };

    /// Sum, or nothing if it cannot be stored.
    pub fn checked_add(self, other: Self) -> Option<Self> {
        Some(Self {
            nitrogen_lb: self.nitrogen_lb.checked_add(other.nitrogen_lb)?,
            quick_nitrogen_lb: self.quick_nitrogen_lb.checked_add(other.quick_nitrogen_lb)?,
            phosphate_lb: self.phosphate_lb.checked_add(other.phosphate_lb)?,
            potash_lb: self.potash_lb.checked_add(other.potash_lb)?,
        })
    }
}
