//! Nutrient on ground, compared with a limit without dividing.
//!
//! A cap is in pounds on 1,000 square feet; a load is so many ten-billionths of a pound on so many hundredths of a square
//! foot. `load / area <= cap` is tested as `load * 10 <= cap * area`: with a load in 1e-10 lb, an area in 1e-2 sq ft and
//! a cap in 1e-6 lb per 1,000 sq ft, one side is 1e-10 lb and the other 1e-6 * 1e-2 / 1e3 = 1e-11 lb.

use std::cmp::Ordering;

use num_bigint::BigInt;
use num_rational::BigRational;

use super::units::{Area, NutrientRate, NutrientRoom, Percent, ProductMass};

/// Turns a load of 1e-10 lb into the 1e-11 lb in which a cap times an area is counted.
const LOAD_STEPS: i128 = 10;
/// Percent in hundredths times product in 1e-6 lb is nutrient in 1e-10 lb, exactly.
const _: () = assert!(1_000_000 * 10_000 == 10_i64.pow(10));

/// A limit on loads, in millionths of a pound on 1,000 square feet. Not always a whole number of them: a limit of 0.25 lb
/// phosphorus is one of 0.25 / 0.4364 lb phosphate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limit {
    numerator: i128,
    denominator: i128,
}

impl Limit {
    /// The limit on loads of which only `parts` in `whole` count. `parts` is above zero.
    pub fn on_part(rate: NutrientRate, parts: i64, whole: i64) -> Self {
        Self { numerator: i128::from(rate.raw()) * i128::from(whole), denominator: i128::from(parts.max(1)) }
    }

    fn exact(self) -> BigRational {
        BigRational::new(BigInt::from(self.numerator), BigInt::from(self.denominator))
    }
}

impl From<NutrientRate> for Limit {
    fn from(rate: NutrientRate) -> Self {
        Self { numerator: i128::from(rate.raw()), denominator: 1 }
    }
}

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
    pub fn compare(&self, limit: impl Into<Limit>) -> Ordering {
        let limit = limit.into();
        match self.fraction() {
            Some((load, area)) => (load * limit.denominator).cmp(&(limit.numerator * area)),
            None => self.exact().cmp(&limit.exact()),
        }
    }

    /// The sum as one fraction in millionths of a pound on 1,000 square feet, where small numbers can hold it: always
    /// for one area, and for two when an earlier load lay on a part of the section.
    fn fraction(&self) -> Option<(i128, i128)> {
        // Kept under these so that a product with a limit's numbers cannot overflow.
        const LOAD_MAX: i128 = 1 << 84;
        const AREA_MAX: i128 = 1 << 62;
        let (load, area) = match self.loads.as_slice() {
            [] => (0, 1),
            [(area, load)] => (load.checked_mul(LOAD_STEPS)?, i128::from(*area)),
            [(area, load), (other_area, other_load)] => {
                let (area, other_area) = (i128::from(*area), i128::from(*other_area));
                let sum = load.checked_mul(other_area)?.checked_add(other_load.checked_mul(area)?)?;
                (sum.checked_mul(LOAD_STEPS)?, area * other_area)
            }
            _ => return None,
        };
        (load.abs() < LOAD_MAX && area < AREA_MAX).then_some((load, area))
    }

    /// The sum in millionths of a pound on 1,000 square feet.
    fn exact(&self) -> BigRational {
        let fraction =
            |(area, load): &(i64, i128)| BigRational::new(BigInt::from(load * LOAD_STEPS), BigInt::from(*area));
        self.loads.iter().map(fraction).sum()
    }

    /// The sum for people, rounded up in the sixth decimal so that it never looks smaller than it is.
    pub fn rounded_up(&self) -> NutrientRate {
        self.part_rounded_up(1, 1)
    }

    /// `parts` in `whole` of the sum, rounded up in the sixth decimal: phosphorus from phosphate.
    pub fn part_rounded_up(&self, parts: i64, whole: i64) -> NutrientRate {
        let rate = if let Some((load, area)) = self.fraction() {
            let (numerator, denominator) = (load * i128::from(parts), area * i128::from(whole.max(1)));
            clamp_small(-(-numerator).div_euclid(denominator))
        } else {
            let part = BigRational::new(BigInt::from(parts), BigInt::from(whole.max(1)));
            clamp(&(self.exact() * part).ceil().to_integer())
        };
        NutrientRate::from_raw(rate)
    }

    /// What is left under a limit, rounded down in the sixth decimal; below zero past the limit.
    pub fn room_rounded_down(&self, limit: impl Into<Limit>) -> NutrientRoom {
        let limit = limit.into();
        let room = match self.fraction() {
            Some((load, area)) => {
                clamp_small((limit.numerator * area - load * limit.denominator).div_euclid(area * limit.denominator))
            }
            None => clamp(&(limit.exact() - self.exact()).floor().to_integer()),
        };
        NutrientRoom::from_raw(room)
    }

    /// The largest load in 1e-10 lb on `area` that keeps the sum at or under the limit; below zero when it is past already.
    pub fn largest_load(&self, limit: impl Into<Limit>, area: Area) -> i128 {
        self.free_load(limit.into(), area).0
    }

    /// The largest load in 1e-10 lb on `area` that keeps the sum under the limit, never at it.
    pub fn largest_load_below(&self, limit: impl Into<Limit>, area: Area) -> i128 {
        let (load, whole) = self.free_load(limit.into(), area);
        if whole { load - 1 } else { load }
    }

    /// The load that reaches the limit, rounded down, and whether it reaches it exactly.
    fn free_load(&self, limit: Limit, area: Area) -> (i128, bool) {
        if let Some((load, of)) = self.fraction() {
            let room = limit.numerator * of - load * limit.denominator;
            let divisor = of * limit.denominator * LOAD_STEPS;
            if let Some(dividend) = room.checked_mul(i128::from(area.raw())) {
                return (dividend.div_euclid(divisor), dividend.rem_euclid(divisor) == 0);
            }
        }
        let room = limit.exact() - self.exact();
        let load = room * BigRational::new(BigInt::from(area.raw()), BigInt::from(LOAD_STEPS));
        (i128::try_from(load.floor().to_integer()).unwrap_or(i128::MAX), load.is_integer())
    }
}

fn clamp_small(number: i128) -> i64 {
    i64::try_from(number).unwrap_or(if number < 0 { i64::MIN } else { i64::MAX })
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
    fn the_short_way_and_the_exact_way_agree() {
        let used = sum(&[(10_000_000_000, 330_000), (5_000_000_001, 710_000)]);
        let mut three = used.clone();
        // A third area with nothing on it changes no sum, but is too much for the short way.
        three.add(0, Area::from_raw(123_457));
        let (cap, area) = (NutrientRate::from_raw(2_700_000), Area::from_raw(820_003));
        let part = Limit::on_part(cap, 4364, 10_000);
        assert_eq!(used.rounded_up(), three.rounded_up());
        assert_eq!(used.part_rounded_up(4364, 10_000), three.part_rounded_up(4364, 10_000));
        assert_eq!(used.room_rounded_down(cap), three.room_rounded_down(cap));
        assert_eq!(used.largest_load(part, area), three.largest_load(part, area));
        assert_eq!(used.largest_load_below(cap, area), three.largest_load_below(cap, area));
        assert_eq!(used.compare(part), three.compare(part));
    }

    #[test]
    fn a_load_below_a_limit_never_reaches_it() {
        let (cap, area) = (NutrientRate::from_raw(700_000), Area::from_raw(100_000));
        assert_eq!(RateSum::default().largest_load(cap, area), 7_000_000_000);
        assert_eq!(RateSum::default().largest_load_below(cap, area), 6_999_999_999);
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
