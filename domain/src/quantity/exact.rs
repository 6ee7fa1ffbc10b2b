//! Dividing whole numbers, once, with the direction in the name.

/// A fixed ratio between two measures, exact as far as its source defines it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Factor {
    numerator: i128,
    denominator: i128,
}

impl Factor {
    /// `numerator / denominator`; both are above zero and below 10^24, so that a product with any stored number fits.
    pub const fn new(numerator: i128, denominator: i128) -> Self {
        Self { numerator, denominator }
    }

    /// The ratio the other way round.
    #[must_use]
    pub const fn inverse(self) -> Self {
        Self { numerator: self.denominator, denominator: self.numerator }
    }

    /// `number` times the ratio, rounded down.
    pub fn of_rounded_down(self, number: i64) -> i64 {
        quotient_down(i128::from(number).saturating_mul(self.numerator), self.denominator)
    }

    /// `number` times the ratio, rounded up.
    pub fn of_rounded_up(self, number: i64) -> i64 {
        quotient_up(i128::from(number).saturating_mul(self.numerator), self.denominator)
    }

    /// `number` times the ratio, rounded to the nearest, halves up: for showing, never for a limit.
    pub fn of_rounded_nearest(self, number: i64) -> i64 {
        quotient_nearest(i128::from(number).saturating_mul(self.numerator), self.denominator)
    }
}

/// `dividend / divisor` rounded down; the divisor is above zero. A result that cannot be stored ends at the bound.
pub fn quotient_down(dividend: i128, divisor: i128) -> i64 {
    stored(dividend.div_euclid(divisor.max(1)))
}

/// `dividend / divisor` rounded up; the divisor is above zero. A result that cannot be stored ends at the bound.
pub fn quotient_up(dividend: i128, divisor: i128) -> i64 {
    stored(-(-dividend).div_euclid(divisor.max(1)))
}

/// `dividend / divisor` rounded to the nearest, halves up; the divisor is above zero.
pub fn quotient_nearest(dividend: i128, divisor: i128) -> i64 {
    let divisor = divisor.max(1);
    stored(dividend.saturating_mul(2).saturating_add(divisor).div_euclid(divisor * 2))
}

fn stored(number: i128) -> i64 {
    i64::try_from(number).unwrap_or(if number < 0 { i64::MIN } else { i64::MAX })
}
