//! Everything that follows from a label for an amount, a target, a piece of ground or a price, each figure with its
//! derivation. It is arithmetic and no permission: what may go down is for the rules to say.

use serde::{Deserialize, Serialize};

use super::{
    Label, Nutrients, ProductForm,
    arithmetic::{
        GradeNutrient, coverage_rounded_down, delivered_rate_rounded_up, product_for_area_rounded_down,
        product_rate_rounded_down,
    },
    buying::{Purchase, bags_rounded_up, price_per_acre_rounded_nearest, price_per_pound_rounded_nearest},
    liquid::{nutrient_per_gallon_rounded_nearest, volume_rounded_down, weight_rounded_up},
};
use crate::{
    calibration::half_rate_rounded_down,
    explain::{Derivation, Figure, Sentence, SourceMark},
    quantity::{Area, Density, NutrientRate, Price, PricePerPound, ProductMass, ProductRate, Quantity, Unit, Volume},
};

/// What is asked. Whatever follows from what is given is worked out.
#[derive(Debug, Clone, Copy, Default)]
pub struct AmountsQuestion {
    /// The nutrient that the target and the prices are about; nitrogen unless said otherwise.
    pub nutrient: Option<GradeNutrient>,
    pub target: Option<NutrientRate>,
    pub area: Option<Area>,
    pub product: Option<ProductMass>,
    pub volume: Option<Volume>,
    pub bag_price: Option<Price>,
}

/// What follows. A figure that nothing follows for is null, and `missing` says why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Amounts {
    pub nutrient: GradeNutrient,
    /// Product on 1,000 sq ft for the target, rounded down.
    pub product_lb_per_1000_sqft: Option<ProductRate>,
    /// For each of two passes at right angles.
    pub half_rate_lb_per_1000_sqft: Option<ProductRate>,
    /// What that product rate delivers of each nutrient, rounded up.
    pub nitrogen_lb_per_1000_sqft: Option<NutrientRate>,
    pub phosphate_lb_per_1000_sqft: Option<NutrientRate>,
    pub potash_lb_per_1000_sqft: Option<NutrientRate>,
    /// Product for the target on the area; or the amount that was asked about, by weight or by volume.
    pub product_lb: Option<ProductMass>,
    /// The same by volume, for a liquid.
    pub volume_gal: Option<Volume>,
    /// Nutrients in that amount, exact.
    pub delivers: Option<Nutrients>,
    /// Whole packages that hold that amount.
    pub purchase: Option<Purchase>,
    /// Ground that one package covers at the target.
    pub package_covers_sqft: Option<Area>,
    /// Weight of the nutrient in one gallon, for a liquid.
    pub nutrient_lb_per_gal: Option<Density>,
    pub price_usd_per_lb_of_nutrient: Option<PricePerPound>,
    /// An acre at the target.
    pub price_usd_per_acre: Option<Price>,
    #[schema(max_items = 20)]
    pub derivations: Vec<Derivation>,
    /// What does not follow from what was given, and what would have to be known.
    #[schema(max_items = 20)]
    pub missing: Vec<Sentence>,
    /// What the label itself says against it.
    #[schema(max_items = 5)]
    pub cautions: Vec<Sentence>,
}

/// Derivations are collected as figures are worked out, and a figure that cannot be stored is told instead of shown.
#[derive(Default)]
struct Work {
    derivations: Vec<Derivation>,
    missing: Vec<Sentence>,
}

impl Work {
    fn take<U: Unit>(&mut self, figure: Option<Figure<Quantity<U>>>) -> Option<Quantity<U>> {
        let figure = figure?;
        if Quantity::<U>::checked(figure.value.raw()).is_err() {
            let largest = Quantity::<U>::from_raw(U::MAX).with_unit();
            let name = figure.derivation.figure;
            self.missing.push(Sentence(format!("The {name} is beyond {largest}; check what was given.")));
            return None;
        }
        self.derivations.push(figure.derivation);
        Some(figure.value)
    }

    fn lacks(&mut self, sentence: &str) {
        self.missing.push(Sentence(sentence.to_owned()));
    }
}

impl Label {
    /// What follows from this label and its package for what is asked. A weight and a volume are not asked together.
    pub fn amounts(&self, package: ProductMass, asked: AmountsQuestion) -> Amounts {
        let nutrient = asked.nutrient.unwrap_or(GradeNutrient::Nitrogen);
        let mut work = Work::default();
        let rate = asked.target.and_then(|target| work.take(product_rate_rounded_down(self, nutrient, target)));
        let half = rate.and_then(|rate| work.take(Some(half_rate_rounded_down(rate))));
        let [nitrogen, phosphate, potash] = GradeNutrient::ALL
            .map(|each| rate.and_then(|rate| work.take(Some(delivered_rate_rounded_up(self, each, rate)))));
        let product = self.amount_asked(nutrient, asked, &mut work);
        let volume = product.zip(self.density()).and_then(|(product, density)| {
            asked.volume.or_else(|| work.take(Some(volume_rounded_down(product, density))))
        });
        let delivers = product.map(|product| self.delivered(product, &mut work));
        let purchase = product.map(|product| bags_rounded_up(product, package));
        if let Some(Err(fault)) = &purchase {
            work.lacks(&format!("There is no number of packages: {fault}."));
        }
        let purchase = purchase.and_then(Result::ok);
        work.derivations.extend(purchase.iter().map(|purchase| purchase.derivation.clone()));
        let covers = asked.target.and_then(|target| {
            let covered = coverage_rounded_down(self, nutrient, target, package);
            work.take(covered)
        });
        let per_gallon = self
            .density()
            .and_then(|density| work.take(Some(nutrient_per_gallon_rounded_nearest(self, density, nutrient))));
        let price = asked.bag_price.map(|price| (price, asked.target));
        let per_pound =
            price.and_then(|(price, _)| work.take(price_per_pound_rounded_nearest(self, nutrient, package, price)));
        let per_acre = price.and_then(|(price, target)| {
            work.take(price_per_acre_rounded_nearest(self, nutrient, package, price, target?))
        });
        self.say_what_lacks(nutrient, asked, &mut work);
        Amounts {
            nutrient,
            product_lb_per_1000_sqft: rate,
            half_rate_lb_per_1000_sqft: half,
            nitrogen_lb_per_1000_sqft: nitrogen,
            phosphate_lb_per_1000_sqft: phosphate,
            potash_lb_per_1000_sqft: potash,
            product_lb: product,
            volume_gal: volume,
            delivers,
            purchase,
            package_covers_sqft: covers,
            nutrient_lb_per_gal: per_gallon,
            price_usd_per_lb_of_nutrient: per_pound,
            price_usd_per_acre: per_acre,
            derivations: work.derivations,
            missing: work.missing,
            cautions: self.amount_cautions(rate, asked, product),
        }
    }

    /// The amount by weight: as it was asked about, by volume, or for the target on the area.
    fn amount_asked(&self, nutrient: GradeNutrient, asked: AmountsQuestion, work: &mut Work) -> Option<ProductMass> {
        match (asked.product, asked.volume) {
            (Some(product), _) => Some(product),
            (None, Some(volume)) => {
                let density = self.density();
                work.take(density.map(|density| weight_rounded_up(volume, density)))
            }
            (None, None) => {
                let (target, area) = asked.target.zip(asked.area)?;
                work.take(product_for_area_rounded_down(self, nutrient, target, area))
            }
        }
    }

    fn delivered(&self, product: ProductMass, work: &mut Work) -> Nutrients {
        let nutrients = self.nutrients_in(product);
        let each = [
            (GradeNutrient::Nitrogen, nutrients.nitrogen_lb.to_string()),
            (GradeNutrient::Phosphate, nutrients.phosphate_lb.to_string()),
            (GradeNutrient::Potash, nutrients.potash_lb.to_string()),
        ];
        work.derivations.extend(each.into_iter().map(|(nutrient, pounds)| {
            Derivation::of(&format!("{} delivered", nutrient.label()), "product x percent / 100")
                .with("product", product)
                .with("percent", nutrient.percent(self))
                .from_source(SourceMark::Read2, "Definition of a grade; Virginia, nutrient management worksheet")
                .gives_text(&pounds, &format!("lb {}", nutrient.label()), "exact")
        }));
        nutrients
    }

    fn say_what_lacks(&self, nutrient: GradeNutrient, asked: AmountsQuestion, work: &mut Work) {
        let without = nutrient.percent(self).is_zero();
        if without && (asked.target.is_some() || asked.bag_price.is_some()) {
            let words = nutrient.label();
            work.lacks(&format!("The label guarantees no {words}, so no amount brings it and it has no price."));
        }
        if self.density().is_none() && (self.form == ProductForm::Liquid || asked.volume.is_some()) {
            work.lacks("The label's weight of a gallon was not copied, so nothing follows by volume.");
        }
        if asked.target.is_none() {
            work.lacks("No target rate was given, so there is no product rate, no coverage and no price of an acre.");
        }
        if asked.bag_price.is_none() {
            work.lacks("No price of a package was given, so there is no price of the nutrient.");
        }
        if asked.product.is_none() && asked.volume.is_none() && asked.target.zip(asked.area).is_none() {
            work.lacks(
                "Neither an amount nor a target with an area was given, so there is no amount to buy or deliver.",
            );
        }
    }

    /// The label's own limit, which binds whatever the arithmetic says.
    fn amount_cautions(
        &self,
        rate: Option<ProductRate>,
        asked: AmountsQuestion,
        product: Option<ProductMass>,
    ) -> Vec<Sentence> {
        let Some(limit) = self.product_limit_lb_per_1000_sqft else { return Vec::new() };
        // lb x 1,000 / sq ft against the limit: 1e-6 lb x 1e5 over 1e-2 sq ft.
        let over_on_area = asked.area.zip(product).is_some_and(|(area, product)| {
            i128::from(product.raw()) * 100_000 > i128::from(limit.raw()) * i128::from(area.raw())
        });
        if over_on_area || rate.is_some_and(|rate| rate > limit) {
            let sentence = format!(
                "The label allows {limit} lb of product on 1,000 sq ft in one application, and this is more. The label prevails."
            );
            vec![Sentence(sentence)]
        } else {
            Vec::new()
        }
    }
}
