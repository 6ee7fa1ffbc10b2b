//! What a label prints, held against itself: what cannot stand together, and claims that its guarantees do not bear.

use serde::{Deserialize, Serialize};

use super::{
    Label, ProductForm,
    liquid::weight_rounded_up,
    pesticide::{ActiveIngredient, PesticidePart},
    printed::NetContents,
};
use crate::quantity::{Percent, ProductMass, ProductRate};

/// A claim of a label that its own guarantees do not bear. The label is kept as printed; the office is told.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LabelRemark {
    #[schema(max_length = 600)]
    pub message: String,
    #[schema(max_length = 400)]
    pub source: String,
}

/// What cannot stand on one label: somebody copied it wrongly.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PrintedFault {
    #[error(
        "the forms of nitrogen add up to {sum} % and the label guarantees {total} %; copy every line beneath the total"
    )]
    FormsDoNotAddUp { sum: Percent, total: Percent },
    #[error(
        "water-insoluble, coated and slowly available water-soluble nitrogen add up to {sum} % and slowly available nitrogen is {slow} %; they are the same nitrogen"
    )]
    SlowFormsDoNotAddUp { sum: Percent, slow: Percent },
    #[error("{organic} % is called organic nitrogen and all nitrogen is {total} %; copy both from the label again")]
    OrganicAboveTotal { organic: Percent, total: Percent },
    #[error("{element} is given twice; a label guarantees it once")]
    ElementTwice { element: &'static str },
    #[error("all guarantees together are more than the product weighs; copy them from the guaranteed analysis")]
    GuaranteesAboveWhole,
    #[error("a liquid whose contents are a volume needs its density in pounds per gallon, or no weight follows")]
    NoDensity,
    #[error("the contents weigh {contents} lb and the net weight is {net} lb; copy both from the package again")]
    ContentsDoNotWeigh { contents: ProductMass, net: ProductMass },
    #[error("{name} is given twice among the active ingredients")]
    IngredientTwice { name: String },
    #[error("the active ingredients together are more than the product weighs; copy them from the label again")]
    IngredientsAboveWhole,
    #[error(
        "the least product is {lowest} lb and the most is {most} lb on 1,000 sq ft; copy both from the label again"
    )]
    LowestAboveMost { lowest: ProductRate, most: ProductRate },
    #[error("more water is asked for at least than at most; copy both from the label again")]
    WateringInTurned,
}

/// Slow nitrogen must be at least this share of all nitrogen to be called so: 15 in 100.
const SLOW_WORDING: (i64, i64) = (15, 100);

/// Water-insoluble nitrogen must be at least this share of the nitrogen that is called organic: 60 in 100.
const ORGANIC_INSOLUBLE: (i64, i64) = (60, 100);

impl Label {
    /// What cannot stand on one label beside its grade.
    pub fn printed_faults(&self) -> Vec<PrintedFault> {
        let Some(printed) = &self.printed else { return Vec::new() };
        let mut faults = Vec::new();
        if let Some(forms) = &printed.nitrogen_forms {
            let (total, slow) = (self.nitrogen_percent, self.slow_nitrogen_percent);
            if forms.total() != total {
                faults.push(PrintedFault::FormsDoNotAddUp { sum: forms.total(), total });
            }
            if forms.slow() != slow {
                faults.push(PrintedFault::SlowFormsDoNotAddUp { sum: forms.slow(), slow });
            }
        }
        let total = self.nitrogen_percent;
        let organic = printed.organic_nitrogen_percent.filter(|organic| *organic > total);
        faults.extend(organic.map(|organic| PrintedFault::OrganicAboveTotal { organic, total }));
        let further = &printed.further_nutrients;
        for (at, one) in further.iter().enumerate() {
            if further.iter().skip(at + 1).any(|other| other.element == one.element) {
                faults.push(PrintedFault::ElementTwice { element: one.element.label() });
            }
        }
        let grade = self.nitrogen_percent.raw() + self.phosphate_percent.raw() + self.potash_percent.raw();
        let all: i64 = grade + further.iter().map(|one| one.percent.raw()).sum::<i64>();
        if grade <= 10_000 && all > 10_000 {
            faults.push(PrintedFault::GuaranteesAboveWhole);
        }
        if matches!(printed.net_contents, Some(NetContents::Volume(_))) && printed.density_lb_per_gal.is_none() {
            faults.push(PrintedFault::NoDensity);
        }
        let water = printed.watering_in_at_least_in.zip(printed.watering_in_at_most_in);
        if water.is_some_and(|(least, most)| least > most) {
            faults.push(PrintedFault::WateringInTurned);
        }
        faults.extend(self.pesticide().into_iter().flat_map(|part| self.pesticide_faults(part)));
        faults
    }

    /// What cannot stand of the pesticide half of one label.
    fn pesticide_faults(&self, part: &PesticidePart) -> Vec<PrintedFault> {
        let mut faults = Vec::new();
        for (at, one) in part.ingredients.iter().enumerate() {
            let same = |other: &ActiveIngredient| other.name.to_lowercase() == one.name.to_lowercase();
            if part.ingredients.iter().skip(at + 1).any(same) {
                faults.push(PrintedFault::IngredientTwice { name: one.name.clone() });
            }
        }
        if part.ingredients.iter().map(|one| one.percent.raw()).sum::<i64>() > 10_000 {
            faults.push(PrintedFault::IngredientsAboveWhole);
        }
        let rates = part.lowest_product_lb_per_1000_sqft.zip(self.product_limit_lb_per_1000_sqft);
        let turned = rates.filter(|(lowest, most)| lowest > most);
        faults.extend(turned.map(|(lowest, most)| PrintedFault::LowestAboveMost { lowest, most }));
        faults
    }

    /// Contents that do not weigh what the package is said to weigh: to the digit where they are a weight, within 1 % where
    /// they are a volume, because labels round volume and density. *Common practice.*
    pub fn contents_fault(&self, net: ProductMass) -> Option<PrintedFault> {
        let printed = self.printed.as_deref()?;
        let (contents, percent) = match printed.net_contents? {
            NetContents::Weight(weight) => (weight, 0),
            NetContents::Volume(volume) => (weight_rounded_up(volume, printed.density_lb_per_gal?).value, 1),
        };
        let off = i128::from((contents.raw() - net.raw()).abs());
        (off * 100 > i128::from(net.raw()) * percent).then_some(PrintedFault::ContentsDoNotWeigh { contents, net })
    }

    /// Claims that the guarantees do not bear, and what a liquid lacks.
    pub fn remarks(&self) -> Vec<LabelRemark> {
        let mut remarks = Vec::new();
        let mut remark =
            |message: String, source: &str| remarks.push(LabelRemark { message, source: source.to_owned() });
        let printed = self.printed.as_deref();
        if printed.is_some_and(|printed| printed.claims_slow_release) && !self.may_be_called_slow() {
            remark(
                format!(
                    "The label calls its nitrogen slow, and guarantees {} % slowly available of {} % nitrogen: less than 15 % of it.",
                    self.slow_nitrogen_percent, self.nitrogen_percent
                ),
                "Pennsylvania, 7 Pa. Code § 73.6, and Montana's fertilizer rule: at least 15 % of total nitrogen; Washington, \
                 WAC 16-200-721: slow release must be named and guaranteed",
            );
        }
        let insoluble = printed.and_then(|printed| printed.nitrogen_forms).map(|forms| forms.water_insoluble_percent);
        if let (Some(organic), Some(insoluble)) = (printed.and_then(|p| p.organic_nitrogen_percent), insoluble) {
            let least = least_insoluble_rounded_up(organic);
            if insoluble < least {
                remark(
                    format!(
                        "{organic} % is called organic nitrogen, which asks for at least {least} % water-insoluble; the label guarantees {insoluble} %."
                    ),
                    "Montana's fertilizer rule and Washington, WAC 16-200-721: water-insoluble nitrogen is at least 60 % of it",
                );
            }
        }
        if self.form == ProductForm::Liquid && printed.is_none_or(|printed| printed.density_lb_per_gal.is_none()) {
            remark(
                "A liquid without its density can be measured by weight alone; copy the pounds per gallon from the label.".to_owned(),
                "Definition: pounds are gallons times pounds per gallon",
            );
        }
        remarks
    }

    /// Whether the guarantees allow the nitrogen to be called slow: at least 15 % of it is slowly available.
    pub fn may_be_called_slow(&self) -> bool {
        let (parts, whole) = SLOW_WORDING;
        self.slow_nitrogen_percent.raw() > 0
            && self.slow_nitrogen_percent.raw() * whole >= self.nitrogen_percent.raw() * parts
    }
}

/// Water-insoluble nitrogen that nitrogen called organic asks for, rounded up.
pub fn least_insoluble_rounded_up(organic: Percent) -> Percent {
    let (parts, whole) = ORGANIC_INSOLUBLE;
    Percent::from_raw((organic.raw() * parts + whole - 1).div_euclid(whole))
}
