//! Nutrient on ground, compared with a limit without dividing.
//!
//! A cap is in pounds on 1,000 square feet; a load is so many ten-billionths of a pound on so many hundredths of a square
//! foot. `load / area <= cap` is tested as `load * 10 <= cap * area`: with a load in 1e-10 lb, an area in 1e-2 sq ft and
//! a cap in 1e-6 lb per 1,000 sq ft, one side is 1e-10 lb and the other 1e-6 * 1e-2 / 1e3 = 1e-11 lb.

use std::cmp::Ordering;

use num_bigint::BigInt;
use num_rational::BigRational;

use super::{Area, NutrientRate, NutrientRoom, Percent, ProductMass};

/// Turns a load of 1e-10 lb into the 1e-11 lb in which a cap times an area is counted.
const LOAD_STEPS: i128 = 10;
/// Percent in hundredths times product in 1e-6 lb is nutrient in 1e-10 lb, exactly.
const _: () = assert!(1_000_000 * 10_000 == 10_i64.pow(10));

/// Loads on a section, each at the rate of its own area, added up.
///
/// Loads on the same area are kept as one fraction, so the common case is one multiplication.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RateSum {
    /// Area in hundredths of a square foot, load in 1e-10 lb. Small: a section changes its area seldom.
    loads: Vec<(i64, i128)>,
}

impl RateSum {
    /// Adds a load in 1e-10 lb (negative for a reversal) put on an area.
    pub fn add(&mut self, load: i64, area: Area) {
        match self.loads.iter_mut().find(|(known, _)| *known == area.raw()) {
            Some((_, sum)) => *sum += i128::from(load),
            None => self.loads.push((area.raw(), i128::from(load))),
        }
    }

    /// How the sum stands to a limit, exactly.
    pub fn compare(&self, limit: NutrientRate) -> Ordering {
        if let [(area, load)] = self.loads.as_slice() {
            return (load * LOAD_STEPS).cmp(&(i128::from(limit.raw()) * i128::from(*area)));
        }
        self.exact().cmp(&BigRational::from_integer(BigInt::from(limit.raw())))
    }

    /// The sum in millionths of a pound on 1,000 square feet.
    fn exact(&self) -> BigRational {
        let fraction =
            |(area, load): &(i64, i128)| BigRational::new(BigInt::from(load * LOAD_STEPS), BigInt::from(*area));
        self.loads.iter().map(fraction).sum()
    }

    /// The sum for people, rounded up in the sixth decimal so that it never looks smaller than it is.
    pub fn rounded_up(&self) -> NutrientRate {
        NutrientRate::from_raw(clamp(&self.exact().ceil().to_integer()))
    }

    /// What is left under a limit, rounded down in the sixth decimal; below zero past the limit.
    pub fn room_rounded_down(&self, limit: NutrientRate) -> NutrientRoom {
        let room = BigRational::from_integer(BigInt::from(limit.raw())) - self.exact();
        NutrientRoom::from_raw(clamp(&room.floor().to_integer()))
    }

    /// The largest load in 1e-10 lb on `area` that keeps the sum at or under the limit; below zero when it is past already.
    pub fn largest_load(&self, limit: NutrientRate, area: Area) -> i128 {
        let room = BigRational::from_integer(BigInt::from(limit.raw())) - self.exact();
        let load = room * BigRational::new(BigInt::from(area.raw()), BigInt::from(LOAD_STEPS));
        i128::try_from(load.floor().to_integer()).unwrap_or(i128::MAX)
    }
}

fn clamp(number: &BigInt) -> i64 {
    i64::try_from(number).unwrap_or(if number.sign() == num_bigint::Sign::Minus { i64::MIN } else { i64::MAX })
}

/// The largest product mass whose share `percent` does not weigh more than `load` (1e-10 lb), rounded down.
pub fn largest_product(load: i128, percent: Percent) -> Option<ProductMass> {
    let share = i128::from(percent.raw());
    (share > 0).then(|| {
        let mass = (load.max(0) / share).min(i128::from(i64::MAX));
        ProductMass::from_raw(i64::try_from(mass).unwrap_or(i64::MAX))
    })
}

/// A load in 1e-10 lb on an area as pounds on 1,000 square feet, rounded up in the sixth decimal.
pub fn rate_rounded_up(load: i64, area: Area) -> NutrientRate {
    let mut sum = RateSum::default();
    sum.add(load, area);
    sum.rounded_up()
}

/// A load in 1e-10 lb on an area as pounds on 1,000 square feet, rounded down in the sixth decimal.
pub fn rate_rounded_down(load: i64, area: Area) -> NutrientRate {
    let rate = i128::from(load) * LOAD_STEPS / i128::from(area.raw());
    NutrientRate::from_raw(i64::try_from(rate).unwrap_or(i64::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sum(loads: &[(i64, i64)]) -> RateSum {
        let mut sum = RateSum::default();
        for (load, area) in loads {
            sum.add(*load, Area::from_raw(*area));
        }
        sum
    }

    #[test]
    fn the_edge_of_a_limit_is_exact() {
        let cap = NutrientRate::from_raw(700_000);
        // 0.7 lb on exactly 1,000 sq ft, then one ten-billionth of a pound more.
        assert_eq!(sum(&[(7_000_000_000, 100_000)]).compare(cap), Ordering::Equal);
        assert_eq!(sum(&[(7_000_000_001, 100_000)]).compare(cap), Ordering::Greater);
    }

    #[test]
    fn loads_on_different_areas_add_at_their_own_rate() {
        // 1 lb on 3,000 sq ft thrice and 1 lb on 7,000 sq ft seven times: 1 + 1 = 2 lb on 1,000 sq ft, exactly.
        let thirds = std::iter::repeat_n((10_000_000_000, 300_000), 3);
        let sevenths = std::iter::repeat_n((10_000_000_000, 700_000), 7);
        let loads: Vec<_> = thirds.chain(sevenths).collect();
        assert_eq!(sum(&loads).compare(NutrientRate::from_raw(2_000_000)), Ordering::Equal);
    }

    #[test]
    fn the_largest_load_fits_and_one_step_more_does_not() {
        let used = sum(&[(10_000_000_000, 330_000), (5_000_000_000, 710_000)]);
        let (cap, area) = (NutrientRate::from_raw(2_700_000), Area::from_raw(820_000));
        let load = i64::try_from(used.largest_load(cap, area)).unwrap_or(0);
        let with = |extra| {
            let mut sum = used.clone();
            sum.add(load + extra, area);
            sum.compare(cap)
        };
        assert_ne!(with(0), Ordering::Greater);
        assert_eq!(with(1), Ordering::Greater);
    }
}
