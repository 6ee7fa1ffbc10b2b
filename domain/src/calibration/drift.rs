//! What was really put down against what was meant, by spreader and operator, over the records.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::{
    explain::{Derivation, SourceMark},
    quantity::{Area, ProductMass, StockBalance, quotient_nearest},
    time::Day,
};

/// One record: what was meant for the ground that was treated, and what was used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Put<K> {
    /// Whose drift it counts for: the spreader, the operator, or both.
    pub key: K,
    pub on: Day,
    /// The target rate on the treated area.
    pub meant: ProductMass,
    pub used: ProductMass,
}

/// How a spreader, an operator or both have drifted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Drift {
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub records: i64,
    pub first_on: Day,
    pub last_on: Day,
    pub meant_lb: StockBalance,
    pub used_lb: StockBalance,
    /// Used less meant in hundredths of a percent of what was meant, to the nearest; nothing when nothing was meant.
    #[schema(minimum = -10_000, maximum = 10_000_000)]
    pub deviation_hundredths_percent: Option<i64>,
    /// The whole is further from what was meant than the accepted 5 %.
    pub beyond_acceptance: bool,
    /// The last records, at least three and all on one side of what was meant by more than 5 %: it is no accident.
    pub one_sided: bool,
    pub derivation: Derivation,
}

/// Records in a row on one side that make a drift. *Common practice.*
const IN_A_ROW: usize = 3;

/// Adds up the records by key.
pub fn drift<K: Ord + Copy>(puts: &[Put<K>]) -> BTreeMap<K, Drift> {
    let mut by_key: BTreeMap<K, Vec<Put<K>>> = BTreeMap::new();
    for put in puts {
        by_key.entry(put.key).or_default().push(*put);
    }
    by_key
        .into_iter()
        .filter_map(|(key, mut puts)| {
            puts.sort_by_key(|put| put.on);
            of_one(&puts).map(|drift| (key, drift))
        })
        .collect()
}

fn of_one<K>(puts: &[Put<K>]) -> Option<Drift> {
    let (first, last) = (puts.first()?, puts.last()?);
    let meant: i128 = puts.iter().map(|put| i128::from(put.meant.raw())).sum();
    let used: i128 = puts.iter().map(|put| i128::from(put.used.raw())).sum();
    let (meant_lb, used_lb) = (stock(meant), stock(used));
    let deviation = (meant > 0).then(|| quotient_nearest((used - meant) * 10_000, meant).clamp(-10_000, 10_000_000));
    let last_few = puts.iter().rev().take(IN_A_ROW);
    let over = last_few.clone().filter(|put| beyond(put.used.raw() - put.meant.raw(), put.meant)).count();
    let under = last_few.filter(|put| beyond(put.meant.raw() - put.used.raw(), put.meant)).count();
    let derivation = Derivation::of("drift", "(used - meant) / meant, added up over the records")
        .with("meant", meant_lb)
        .with("used", used_lb)
        .from_source(SourceMark::CommonPractice, "The acceptance of 5 % is UMass Extension's for calibrations")
        .gives_text(
            &deviation.map_or_else(|| "none".to_owned(), |d| stock(i128::from(d) * 10_000).to_string()),
            "%",
            "to the nearest hundredth",
        );
    Some(Drift {
        records: i64::try_from(puts.len()).unwrap_or(i64::MAX),
        first_on: first.on,
        last_on: last.on,
        meant_lb,
        used_lb,
        deviation_hundredths_percent: deviation,
        beyond_acceptance: (used - meant).abs() * 100 > meant * i128::from(super::ACCEPTED_PERCENT),
        one_sided: over == IN_A_ROW || under == IN_A_ROW,
        derivation,
    })
}

/// The target on a part of the ground it was set for: target x treated / set for, to the nearest millionth of a pound.
pub fn target_on_part_rounded_nearest(target: ProductMass, set_for: Area, treated: Area) -> ProductMass {
    let mass = i128::from(target.raw()) * i128::from(treated.raw());
    ProductMass::from_raw(quotient_nearest(mass, i128::from(set_for.raw().max(1))))
}

fn beyond(off: i64, meant: ProductMass) -> bool {
    i128::from(off) * 100 > i128::from(meant.raw()) * i128::from(super::ACCEPTED_PERCENT)
}

fn stock(raw: i128) -> StockBalance {
    StockBalance::from_raw(i64::try_from(raw).unwrap_or(i64::MAX))
}
