//! Which products and purposes a rule is about: the one answer for judging, counting and wording.

use std::cmp::Ordering;

use crate::{
    application::Purpose,
    facts::{PastApplication, PastPesticide},
    product::{Label, ProductForm},
    quantity::Percent,
};

/// Which products and purposes a rule is about; what is not named does not matter.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Scope {
    pub forms: Vec<ProductForm>,
    pub purposes: Vec<Purpose>,
    pub enhanced_efficiency: Option<bool>,
    pub organic: Option<bool>,
    pub labelled_for_establishment: Option<bool>,
    pub compost: Option<bool>,
    /// Products labelled with enhanced-efficiency phosphorus.
    pub enhanced_efficiency_phosphorus: Option<bool>,
    /// Combination products, which are pesticides too.
    pub pesticide: Option<bool>,
    /// Products whose nitrogen is slow-release to at least this share.
    pub slow_share_at_least: Option<Percent>,
    /// Products with nitrogen of which less than this share is slow-release.
    pub slow_share_below: Option<Percent>,
    /// Products with more than this share of P2O5.
    pub phosphate_over: Option<Percent>,
}

/// Whether a product falls under a rule, the least certain part deciding.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Covered {
    No,
    /// What the rule asks of the product is not in the book.
    Unknown,
    Yes,
}

/// A product that is used for a purpose, as far as it is known.
struct UsedProduct {
    form: Option<ProductForm>,
    purpose: Purpose,
    enhanced_efficiency: bool,
    organic: bool,
    labelled_for_establishment: Option<bool>,
    compost: Option<bool>,
    enhanced_efficiency_phosphorus: Option<bool>,
    pesticide: Option<bool>,
    /// Nitrogen and, of it, slow nitrogen, in any one unit; only their ratio counts.
    nitrogen: i64,
    slow_nitrogen: i64,
    phosphate: Phosphate,
}

/// How much of a product is P2O5.
enum Phosphate {
    Percent(Percent),
    /// It holds some, and nothing says how much.
    Some,
}

impl Scope {
    /// Whether a product used for a purpose is meant.
    pub fn covers(&self, label: &Label, purpose: Purpose) -> bool {
        self.covered(&UsedProduct::of_label(label, purpose)) == Covered::Yes
    }

    /// Whether the product of an earlier application is meant. The record of it may not say.
    pub fn covers_earlier(&self, entry: &PastApplication) -> Covered {
        self.covered(&UsedProduct::of_earlier(entry))
    }

    /// Whether the product itself is meant, whatever it is used for.
    pub fn is_about_product(&self, label: &Label) -> bool {
        self.purposes.is_empty() && self.covers(label, Purpose::Maintenance)
    }

    /// Whether it is about every product that a lawn may get, so that a cap of it is a cap of the lawn. The form of a product
    /// and what it is labelled for are the applicator's to choose, so such a cap is shown for the lawn too.
    pub fn is_of_the_lawn(&self) -> bool {
        Self { forms: Vec::new(), labelled_for_establishment: None, ..self.clone() } == Self::default()
    }

    fn covered(&self, used: &UsedProduct) -> Covered {
        let parts = [
            among(&self.forms, used.form),
            among(&self.purposes, Some(used.purpose)),
            is(self.enhanced_efficiency, Some(used.enhanced_efficiency)),
            is(self.organic, Some(used.organic)),
            is(self.labelled_for_establishment, used.labelled_for_establishment),
            is(self.compost, used.compost),
            is(self.enhanced_efficiency_phosphorus, used.enhanced_efficiency_phosphorus),
            is(self.pesticide, used.pesticide),
            self.slow_share_at_least.map_or(Covered::Yes, |least| used.slow_share(least, Ordering::is_ge)),
            self.slow_share_below.map_or(Covered::Yes, |below| used.slow_share(below, Ordering::is_lt)),
            self.phosphate_over.map_or(Covered::Yes, |over| used.phosphate_over(over)),
        ];
        parts.into_iter().min().unwrap_or(Covered::Yes)
    }
}

const fn certainly(holds: bool) -> Covered {
    if holds { Covered::Yes } else { Covered::No }
}

fn among<T: PartialEq>(named: &[T], fact: Option<T>) -> Covered {
    match fact {
        _ if named.is_empty() => Covered::Yes,
        Some(fact) => certainly(named.contains(&fact)),
        None => Covered::Unknown,
    }
}

fn is(wanted: Option<bool>, fact: Option<bool>) -> Covered {
    match (wanted, fact) {
        (None, _) => Covered::Yes,
        (Some(wanted), Some(fact)) => certainly(wanted == fact),
        (Some(_), None) => Covered::Unknown,
    }
}

impl UsedProduct {
    fn of_label(label: &Label, purpose: Purpose) -> Self {
        Self {
            form: Some(label.form),
            purpose,
            enhanced_efficiency: label.enhanced_efficiency,
            organic: label.organic,
            labelled_for_establishment: Some(label.labelled_for_establishment),
            compost: Some(label.compost),
            enhanced_efficiency_phosphorus: Some(label.enhanced_efficiency_phosphorus),
            pesticide: Some(label.pesticide().is_some()),
            nitrogen: label.nitrogen_percent.raw(),
            slow_nitrogen: label.slow_nitrogen_percent.raw(),
            phosphate: Phosphate::Percent(label.phosphate_percent),
        }
    }

    fn of_earlier(entry: &PastApplication) -> Self {
        let nitrogen = entry.nutrients.nitrogen_lb.raw();
        let phosphate = match (entry.product.phosphate_percent, entry.nutrients.phosphate_lb.raw()) {
            (Some(percent), _) => Phosphate::Percent(percent),
            (None, 0) => Phosphate::Percent(Percent::ZERO),
            (None, _) => Phosphate::Some,
        };
        Self {
            form: entry.product.form,
            purpose: entry.purpose,
            enhanced_efficiency: entry.enhanced_efficiency,
            organic: entry.organic,
            labelled_for_establishment: entry.product.labelled_for_establishment,
            compost: entry.product.compost,
            enhanced_efficiency_phosphorus: entry.product.enhanced_efficiency_phosphorus,
            pesticide: match entry.product.pesticide {
                PastPesticide::Unsaid => None,
                PastPesticide::None => Some(false),
                PastPesticide::Registered(_) => Some(true),
            },
            nitrogen,
            slow_nitrogen: nitrogen - entry.nutrients.quick_nitrogen_lb.raw(),
            phosphate,
        }
    }

    /// Compares the slow-release share of its nitrogen without rounding; a product without nitrogen has none. What takes an
    /// entry back is below zero and has the share of what it takes back.
    fn slow_share(&self, with: Percent, holds: impl Fn(Ordering) -> bool) -> Covered {
        let (sign, nitrogen) = (i128::from(self.nitrogen.signum()), i128::from(self.nitrogen));
        let slow = i128::from(self.slow_nitrogen) * 10_000;
        certainly(nitrogen != 0 && holds((sign * slow).cmp(&(sign * i128::from(with.raw()) * nitrogen))))
    }

    fn phosphate_over(&self, over: Percent) -> Covered {
        match self.phosphate {
            Phosphate::Percent(percent) => certainly(percent > over),
            Phosphate::Some if over.is_zero() => Covered::Yes,
            Phosphate::Some => Covered::Unknown,
        }
    }
}
