//! Days that a law names without a year.

/// A month and a day of it, in any year.
pub type MonthDay = (i8, i8);

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// `December 16`. February 29 is the last day of February in every year.
pub(crate) fn month_day((month, day): MonthDay) -> String {
    if (month, day) == (2, 29) {
        return "the end of February".to_owned();
    }
    let name = usize::try_from(month).ok().and_then(|month| MONTHS.get(month.wrapping_sub(1))).unwrap_or(&"");
    format!("{name} {day}")
}
