//! The trade's arithmetic against figures that universities, states and standards printed.
//!
//! Each check carries its number in the reference list, its source, and how it was known: *read* in the source, *read in a
//! reprint*, or *computed* from figures that were read. A publication rounds at every step, so each comparison has the
//! tolerance of its last printed digit, or a wider one that says why.

mod amounts;
mod areas;
mod blends;
mod buying;
mod calibration;
mod labels;
mod lawful;
mod lime;
mod liquids;
mod loads;
mod planned_lime;
mod plans;
mod printed;
mod programmes;
mod rates;
mod references;
mod schedules;
mod shapes;
mod soil;
mod some_products;
mod spraying;
mod stops;
mod surveys;
mod units;

use domain::{
    product::{Label, ProductForm},
    quantity::{Percent, Quantity, Unit},
};

pub use crate::facts::amount;

/// A granular label with nothing but its grade.
pub fn label(nitrogen: &str, phosphate: &str, potash: &str) -> Label {
    Label {
        form: ProductForm::Granular,
        nitrogen_percent: amount(nitrogen),
        slow_nitrogen_percent: Percent::ZERO,
        phosphate_percent: amount(phosphate),
        potash_percent: amount(potash),
        enhanced_efficiency: false,
        release_percent_per_month: None,
        organic: false,
        compost: false,
        labelled_for_establishment: false,
        enhanced_efficiency_phosphorus: false,
        product_limit_lb_per_1000_sqft: None,
        air_temperature_limit_f: None,
        printed: None,
        wind_limit_mph: None,
    }
}

/// Whether a figure is the printed one within a tolerance, all in the same unit.
#[track_caller]
pub fn near<U: Unit>(found: Quantity<U>, printed: &str, tolerance: &str) {
    // An area of nothing cannot be written, a tolerance of nothing can.
    let exact = tolerance == "0";
    let (printed, tolerance): (Quantity<U>, i64) =
        (amount(printed), if exact { 0 } else { amount::<U>(tolerance).raw() });
    let off = (found.raw() - printed.raw()).abs();
    assert!(off <= tolerance, "{found:?} is not {printed:?} within {tolerance:?}");
}

/// The same for whole numbers of a scale that the caller knows.
#[track_caller]
pub fn close(found: i64, printed: i64, tolerance: i64) {
    assert!((found - printed).abs() <= tolerance, "{found} is not {printed} within {tolerance}");
}
