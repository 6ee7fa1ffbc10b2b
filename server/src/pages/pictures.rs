//! Pictures that the server draws: plain SVG beside the table that says the same in figures. Places are whole numbers of the picture's
//! own units; the figures are the table's.

pub mod calendar;
pub mod hours;
pub mod room;
pub mod soil;
pub mod steps;
pub mod stock;

use std::fmt;

/// Names that have room below a line.
const MONTHS: [&str; 12] = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/// A place along a line in hundredths of a per cent: of a picture that is as wide as its page, and whose text keeps its size.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Share(i64);

impl Share {
    const WHOLE: i64 = 10_000;

    /// Never beyond an end of the line.
    fn of(value: i64, whole: i64) -> Self {
        Self(place(value, whole, Self::WHOLE))
    }

    pub const fn is_start(self) -> bool {
        self.0 == 0
    }

    pub const fn is_end(self) -> bool {
        self.0 == Self::WHOLE
    }

    fn plus(self, more: Self) -> Self {
        Self((self.0 + more.0).min(Self::WHOLE))
    }

    fn less(self, other: Self) -> Self {
        Self((self.0 - other.0).max(0))
    }
}

impl fmt::Display for Share {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{:02}%", self.0 / 100, self.0 % 100)
    }
}

/// Where a value lies on a line of so many units, of which `whole` is the end; never beyond it.
fn place(value: i64, whole: i64, units: i64) -> i64 {
    if whole <= 0 {
        return 0;
    }
    let at = i128::from(value.max(0)) * i128::from(units) / i128::from(whole);
    i64::try_from(at).unwrap_or(units).min(units)
}

#[cfg(test)]
mod tests {
    use super::{Share, place};

    #[test]
    fn a_share_is_written_as_a_picture_reads_it() {
        let written =
            [(0, 3), (1, 3), (2, 3), (3, 3), (4, 3)].map(|(value, whole)| Share::of(value, whole).to_string());
        assert_eq!(written, ["0.00%", "33.33%", "66.66%", "100.00%", "100.00%"]);
        assert_eq!(Share::of(1, 3).plus(Share::of(3, 3)).less(Share::of(1, 3)).to_string(), "66.67%");
    }

    #[test]
    fn a_value_lies_between_the_ends() {
        assert_eq!([0, 1, 5, 10, 11, -3].map(|value| place(value, 10, 100)), [0, 10, 50, 100, 100, 0]);
        assert_eq!(place(i64::MAX, i64::MAX, 240), 240);
        assert_eq!(place(1, 0, 240), 0, "nothing can be drawn on no scale");
    }
}
