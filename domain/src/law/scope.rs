//! Which products and purposes a rule is about.

use crate::{
    application::Purpose,
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
    /// Products whose nitrogen is slow-release to at least this share.
    pub slow_share_at_least: Option<Percent>,
    /// Products with nitrogen of which less than this share is slow-release.
    pub slow_share_below: Option<Percent>,
    /// Products with more than this share of P2O5.
    pub phosphate_over: Option<Percent>,
}

impl Scope {
    /// Whether a product used for a purpose is meant.
    pub fn covers(&self, label: &Label, purpose: Purpose) -> bool {
        let is = |wanted: Option<bool>, fact: bool| wanted.is_none_or(|wanted| wanted == fact);
        (self.forms.is_empty() || self.forms.contains(&label.form))
            && (self.purposes.is_empty() || self.purposes.contains(&purpose))
            && is(self.enhanced_efficiency, label.enhanced_efficiency)
            && is(self.organic, label.organic)
            && is(self.labelled_for_establishment, label.labelled_for_establishment)
            && is(self.compost, label.compost)
            && self
                .slow_share_at_least
                .is_none_or(|least| slow_share(label, least).is_some_and(std::cmp::Ordering::is_ge))
            && self.slow_share_below.is_none_or(|below| slow_share(label, below).is_some_and(std::cmp::Ordering::is_lt))
            && self.phosphate_over.is_none_or(|over| label.phosphate_percent > over)
    }
}

/// How the slow-release share of a label's nitrogen compares, without rounding; nothing for a product without nitrogen.
fn slow_share(label: &Label, with: Percent) -> Option<std::cmp::Ordering> {
    let total = i128::from(label.nitrogen_percent.raw());
    let slow = i128::from(label.slow_nitrogen_percent.raw()) * 10_000;
    (total > 0).then(|| slow.cmp(&(i128::from(with.raw()) * total)))
}
