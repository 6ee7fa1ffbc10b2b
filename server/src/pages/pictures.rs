//! Pictures that the server draws: plain SVG beside the table that says the same in figures. Places are whole numbers of the picture's
//! own units; the figures are the table's.

pub mod room;
pub mod steps;
pub mod stock;

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
    use super::place;

    #[test]
    fn a_value_lies_between_the_ends() {
        assert_eq!([0, 1, 5, 10, 11, -3].map(|value| place(value, 10, 100)), [0, 10, 50, 100, 100, 0]);
        assert_eq!(place(i64::MAX, i64::MAX, 240), 240);
        assert_eq!(place(1, 0, 240), 0, "nothing can be drawn on no scale");
    }
}
