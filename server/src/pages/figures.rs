//! Figures as people read them: rates in two decimals, pounds in three figures, thousands apart. A figure never rounds across a
//! limit: what is over one never prints as that limit or less, and what is below never as that limit. What somebody acts on,
//! room and what is to be put down, is rounded down, so that whoever goes by the page breaks no limit. The exact figure stays in
//! the title, in the API and in the CSV.

#![expect(clippy::trivially_copy_pass_by_ref, reason = "templates hand over by reference")]

use std::{cmp::Ordering, fmt};

use askama::filters::HtmlSafe;
use domain::quantity::{Quantity, Unit};

/// Decimals in which values of every scale can be compared.
const COMMON: u32 = 12;

/// A figure that is shown short and known exactly. Both are made of digits, signs, points and commas alone, so that they may
/// stand in a page as they are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Figure {
    pub shown: String,
    exact: String,
    rounded: bool,
    on_paper: bool,
}

impl Figure {
    /// Short on the screen and exact where the page is printed.
    pub fn exact_on_paper(self) -> Self {
        Self { on_paper: true, ..self }
    }
}

impl HtmlSafe for Figure {}

impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { shown, exact, .. } = self;
        match (self.rounded, self.on_paper) {
            (false, _) => f.write_str(shown),
            (true, false) => write!(f, "<span title=\"{exact}\">{shown}</span>"),
            (true, true) => {
                write!(f, "<span class=\"screen\" title=\"{exact}\">{shown}</span><span class=\"paper\">{exact}</span>")
            }
        }
    }
}

/// Which way a figure is rounded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Rounding {
    Nearest,
    Down,
    Up,
}

/// Pounds of nutrient or product per 1,000 square feet, where nobody acts on the last digit.
pub fn rate<U: Unit>(value: &Quantity<U>) -> Figure {
    figure(value, &[], Rounding::Nearest, |_| 2, false)
}

/// What was applied or is planned, beside the limit that it is read against.
pub fn rate_against<U: Unit, L: Unit>(value: &Quantity<U>, limit: Option<&Quantity<L>>) -> Figure {
    figure(value, limit.map(common).as_slice(), Rounding::Nearest, |_| 2, false)
}

/// What is left under a limit, or may be put down: rounded down.
pub fn rate_at_most<U: Unit>(value: &Quantity<U>) -> Figure {
    figure(value, &[], Rounding::Down, |_| 2, false)
}

/// A limit that law, label or company sets: every digit of it counts.
pub fn limit<U: Unit>(value: &Quantity<U>) -> Figure {
    figure(value, &[common(value)], Rounding::Nearest, |_| 2, false)
}

/// Pounds, whole ones always.
pub fn pounds<U: Unit>(value: &Quantity<U>) -> Figure {
    figure(value, &[], Rounding::Nearest, three_figures, true)
}

/// Pounds that are to be put down: rounded down.
pub fn pounds_at_most<U: Unit>(value: &Quantity<U>) -> Figure {
    figure(value, &[], Rounding::Down, three_figures, true)
}

/// Pounds beside the pounds that they are read against.
pub fn pounds_against<U: Unit, L: Unit>(value: &Quantity<U>, limit: &Quantity<L>) -> Figure {
    figure(value, &[common(limit)], Rounding::Nearest, three_figures, true)
}

/// What the weather brings, in tenths: rounded up, as a limit on it is read.
pub fn tenths_up<U: Unit>(value: &Quantity<U>) -> Figure {
    figure(value, &[], Rounding::Up, |_| 1, true)
}

/// Every digit, thousands apart: for areas, and for what another figure is read against.
pub fn exact<U: Unit>(value: &Quantity<U>) -> Figure {
    figure(value, &[], Rounding::Nearest, |_| COMMON, true)
}

/// The value in units of its twelfth decimal.
fn common<U: Unit>(value: &Quantity<U>) -> i128 {
    i128::from(value.raw()) * 10_i128.pow(COMMON - U::SCALE)
}

/// The decimals that leave three figures, or all whole ones.
fn three_figures(value: i128) -> u32 {
    let mut hundreds = 100 * 10_i128.pow(COMMON);
    let mut decimals = 0;
    while value.abs() < hundreds && decimals < COMMON {
        (hundreds, decimals) = (hundreds / 10, decimals + 1);
    }
    decimals
}

/// Rounds, with as many more decimals as it takes for the rounded value to stand to nothing and to each limit
/// as the value itself does.
fn figure<U: Unit>(
    value: &Quantity<U>,
    limits: &[i128],
    to: Rounding,
    decimals: impl Fn(i128) -> u32,
    trim: bool,
) -> Figure {
    let exact = common(value);
    let stands = |short: i128| {
        let sides = |value: i128| -> Vec<Ordering> {
            std::iter::once(&0).chain(limits).map(|limit| value.cmp(limit)).collect()
        };
        sides(short) == sides(exact)
    };
    let fewest = if exact == 0 { 0 } else { decimals(exact).min(U::SCALE) };
    let places = (fewest..U::SCALE).find(|places| stands(rounded(exact, *places, to))).unwrap_or(U::SCALE);
    let short = rounded(exact, places, to);
    Figure {
        shown: written(short, places.max(fewest), trim),
        exact: written(exact, U::SCALE, true),
        rounded: short != exact,
        on_paper: false,
    }
}

fn rounded(value: i128, places: u32, to: Rounding) -> i128 {
    let step = 10_i128.pow(COMMON - places);
    match to {
        Rounding::Down if value > 0 => value / step * step,
        Rounding::Up if value > 0 => (value + step - 1) / step * step,
        // How far over a limit something is, is nothing to act on.
        _ => (value.abs() + step / 2) / step * step * value.signum(),
    }
}

fn written(value: i128, places: u32, trim: bool) -> String {
    let one = 10_i128.pow(COMMON);
    let whole = (value.abs() / one).to_string();
    let fraction = format!("{:012}", value.abs() % one);
    let fraction = fraction.get(..places as usize).unwrap_or_default();
    let fraction = if trim { fraction.trim_end_matches('0') } else { fraction };
    let mut text = String::new();
    if value < 0 {
        text.push('-');
    }
    for (at, digit) in whole.chars().enumerate() {
        if at > 0 && (whole.len() - at).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    if !fraction.is_empty() {
        text.push('.');
        text.push_str(fraction);
    }
    text
}

#[cfg(test)]
mod tests {
    use domain::quantity::{Area, NutrientRate, NutrientRoom, ProductMass, StockBalance};

    use super::*;

    fn per_1000(text: &str) -> NutrientRate {
        NutrientRate::parse(text).expect("a rate")
    }

    fn against(value: &str, limit: &str) -> String {
        rate_against(&per_1000(value), Some(&per_1000(limit))).shown
    }

    #[test]
    fn a_rate_has_two_decimals_and_its_exact_figure_beside_it() {
        let short = rate(&per_1000("0.903191"));
        assert_eq!(short.shown, "0.90");
        assert_eq!(short.to_string(), "<span title=\"0.903191\">0.90</span>");
        let paper = "<span class=\"screen\" title=\"0.903191\">0.90</span><span class=\"paper\">0.903191</span>";
        assert_eq!(short.exact_on_paper().to_string(), paper);
        assert_eq!(rate(&per_1000("0.9")).to_string(), "0.90");
        assert_eq!(rate(&per_1000("0")).to_string(), "0");
    }

    #[test]
    fn a_figure_over_its_limit_never_prints_equal_to_it() {
        assert_eq!(against("0.9", "0.9"), "0.90");
        assert_eq!(against("0.900001", "0.9"), "0.900001");
        assert_eq!(against("0.903191", "0.9"), "0.903");
        assert_eq!(against("0.904", "0.9"), "0.904");
        assert_eq!(against("0.906", "0.9"), "0.91");
        assert_eq!(against("0.938", "0.9375"), "0.94");
        assert_eq!(against("0.9376", "0.9375"), "0.94");
    }

    #[test]
    fn a_figure_below_its_limit_never_prints_equal_to_it() {
        assert_eq!(against("0.899999", "0.9"), "0.899999");
        assert_eq!(against("0.8951", "0.9"), "0.895");
        assert_eq!(against("0.937", "0.9375"), "0.937");
    }

    #[test]
    fn every_digit_of_a_limit_is_shown() {
        assert_eq!(limit(&per_1000("0.9375")).shown, "0.9375");
        assert_eq!(limit(&per_1000("3.2")).shown, "3.20");
    }

    #[test]
    fn what_is_left_keeps_its_side_of_nothing() {
        let room = |text: &str| rate_at_most(&NutrientRoom::parse(text).expect("room")).shown;
        assert_eq!(
            [room("-0.000004"), room("0.000004"), room("-0.25"), room("0")],
            ["-0.000004", "0.000004", "-0.25", "0"]
        );
    }

    /// Figures of a plan whose limit is 0.9 lb and of a year whose room is smaller than the visit planned in it.
    #[test]
    fn what_is_acted_on_is_rounded_to_the_side_that_breaks_no_limit() {
        let lb = ProductMass::parse("12.187").expect("pounds");
        assert_eq!((pounds(&lb).shown.as_str(), pounds_at_most(&lb).shown.as_str()), ("12.2", "12.1"));
        assert_eq!(rate_at_most(&per_1000("0.899963")).shown, "0.89");
        assert_eq!(rate_at_most(&per_1000("0.417037")).shown, "0.41");
    }

    #[test]
    fn pounds_have_three_figures_and_thousands_apart() {
        let lb = |text: &str| pounds(&ProductMass::parse(text).expect("pounds")).shown;
        assert_eq!(lb("1184.416332"), "1,184");
        assert_eq!(lb("15.9375"), "15.9");
        assert_eq!(lb("6.640625"), "6.64");
        assert_eq!(lb("0.04781"), "0.0478");
        assert_eq!([lb("60"), lb("25.6"), lb("99.97"), lb("0")], ["60", "25.6", "100", "0"]);
        let balance = StockBalance::parse("61.46").expect("a balance");
        assert_eq!(pounds_against(&balance, &ProductMass::parse("61.5").expect("pounds")).shown, "61.46");
    }

    #[test]
    fn an_area_keeps_every_digit() {
        assert_eq!(exact(&Area::parse("12345.67").expect("an area")).to_string(), "12,345.67");
        assert_eq!(exact(&Area::parse("8200").expect("an area")).to_string(), "8,200");
    }
}
