//! A yearly cap as a bar: what is down, what is planned on top of it, and a mark where the cap lies.

use askama::Template;
use domain::quantity::{NutrientRate, Quantity, Unit};

use super::place;
use crate::pages::figures;

/// Units from end to end.
const WIDTH: i64 = 240;
/// Of these, what a bar leaves free beyond its cap, so that the mark is seen.
const BEYOND: i64 = 8;

/// The bar of one section.
#[derive(Debug, Template, PartialEq, Eq)]
#[template(path = "picture_room.html")]
pub struct RoomBar {
    /// Where the cap lies, what is down under it and over it, and what is planned.
    cap: i64,
    down: i64,
    over: Option<(i64, i64)>,
    planned: Option<(i64, i64)>,
    words: String,
}

impl RoomBar {
    /// Nothing without a cap: there is no scale to draw on.
    pub fn of<U: Unit>(applied: NutrientRate, planned: NutrientRate, cap: Option<&Quantity<U>>) -> Option<Self> {
        let limit = cap?;
        let (down, asked, most) = (applied.raw(), planned.raw(), limit.raw());
        let all = down.saturating_add(asked);
        // What stands beyond the cap makes the whole bar smaller, never itself.
        let whole = all.max(most.saturating_mul(WIDTH) / (WIDTH - BEYOND));
        let at = |value| place(value, whole, WIDTH);
        let part = |from: i64, to: i64| (to > from).then(|| (at(from), at(to) - at(from)));
        let mut words = format!(
            "{} of {} lb N per 1,000 sq ft are down",
            figures::rate_against(&applied, Some(limit)).shown,
            figures::limit(limit).shown
        );
        if asked > 0 {
            words = format!("{words}, {} more are planned", figures::rate(&planned).shown);
        }
        Some(Self { cap: at(most), down: at(down.min(most)), over: part(most, down), planned: part(down, all), words })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bar(applied: &str, planned: &str, cap: &str) -> RoomBar {
        let rate = |text: &str| NutrientRate::parse(text).unwrap();
        RoomBar::of(rate(applied), rate(planned), Some(&rate(cap))).unwrap()
    }

    #[test]
    fn a_bar_under_its_cap_ends_before_the_mark() {
        let bar = bar("1.8", "0.6", "2.7");
        assert_eq!((bar.cap, bar.down, bar.over), (232, 154, None));
        assert_eq!(bar.planned, Some((154, 52)), "2.4 of 2.7 lie before the mark");
        assert_eq!(bar.words, "1.80 of 2.70 lb N per 1,000 sq ft are down, 0.60 more are planned");
    }

    #[test]
    fn what_goes_over_the_cap_is_drawn_beyond_the_mark() {
        let down = bar("3.0", "0", "2.0");
        assert_eq!((down.cap, down.down, down.over, down.planned), (160, 160, Some((160, 80)), None));
        let planned = bar("1.0", "2.0", "2.0");
        assert_eq!((planned.cap, planned.down, planned.planned), (160, 80, Some((80, 160))));
    }

    #[test]
    fn a_cap_of_nothing_leaves_all_beyond_the_mark() {
        let bar = bar("0.5", "0", "0");
        assert_eq!((bar.cap, bar.down, bar.over), (0, 0, Some((0, 240))));
    }
}
