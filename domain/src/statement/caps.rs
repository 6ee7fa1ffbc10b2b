//! Yearly caps held against what went down, in both years that a law may mean: the calendar year, and 365 days.

use std::{cmp::Ordering, collections::BTreeMap, sync::Arc};

use serde::{Deserialize, Serialize};

use crate::{
    law::{nutrient::Nutrient, year::YearCap},
    parts::{Parts, Piece, pieces},
    product::Nutrients,
    quantity::{Area, NutrientRate, NutrientRoom, Phosphate, Potash, QuickNitrogen, RateSum, TotalNitrogen},
    statement::LedgerLine,
    time::Day,
};

/// A span of 365 days that ends on a day begins so many days before it.
pub const DAYS_BEFORE: i32 = 364;

/// What went down on a section on a day; below zero what a correction takes back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DatedLoad {
    pub on: Day,
    pub area: Area,
    /// The parts of the section that it lies in; nothing when it may lie anywhere.
    pub parts: Option<Parts>,
    pub nutrients: Nutrients,
}

impl DatedLoad {
    /// A line of the ledger on its day.
    pub fn of(on: Day, line: &LedgerLine) -> Self {
        let nutrients = Nutrients {
            nitrogen_lb: TotalNitrogen::from_raw(line.nitrogen),
            quick_nitrogen_lb: QuickNitrogen::from_raw(line.quick_nitrogen),
            phosphate_lb: Phosphate::from_raw(line.phosphate),
            potash_lb: Potash::from_raw(line.potash),
        };
        Self { on, area: line.area, parts: line.parts, nutrients }
    }
}

/// A calendar year, and the day as of which it is told: today, or its last day when it is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ToldYear {
    pub from: Day,
    pub to: Day,
    pub as_of: Day,
}

/// What one of the two years leaves under a cap.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct YearRoom {
    #[schema(value_type = crate::time::reckoned::ComputedDay)]
    pub from: Day,
    #[schema(value_type = crate::time::reckoned::ComputedDay)]
    pub to: Day,
    /// What the ground got that got most, rounded up in the sixth decimal.
    pub applied_lb_per_1000_sqft: NutrientRate,
    /// What is left there, rounded down; below zero past the cap.
    pub remaining_lb_per_1000_sqft: NutrientRoom,
}

/// Which of the two years leaves less.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum StricterYear {
    CalendarYear,
    RollingYear,
}

/// A yearly cap, held against both years.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct CapRooms {
    /// Many sections are held to the same.
    pub cap: Arc<YearCap>,
    pub calendar_year: YearRoom,
    /// The 365 days in which most went down: of those that hold the day as of which the year is told, or once it is over, of
    /// those that ended in it on a day of work with the nutrient or on its last day.
    pub rolling_year: YearRoom,
    /// The year that leaves less; null when both leave the same.
    pub stricter: Option<StricterYear>,
    /// Which year leaves less, in words; empty when both leave the same.
    #[schema(max_length = 120, example = "Less is left in the 365 days to 2026-09-15.")]
    pub stricter_words: String,
}

impl CapRooms {
    fn of(cap: Arc<YearCap>, [calendar, rolling]: [Applied; 2]) -> Self {
        let stricter = match calendar.rate.cmp(&rolling.rate) {
            Ordering::Equal => None,
            Ordering::Greater => Some(StricterYear::CalendarYear),
            Ordering::Less => Some(StricterYear::RollingYear),
        };
        let stricter_words = match stricter {
            None => String::new(),
            Some(StricterYear::CalendarYear) => format!("Less is left in the calendar year {}.", calendar.from.year()),
            Some(StricterYear::RollingYear) => format!("Less is left in the 365 days to {}.", rolling.to),
        };
        let (calendar_year, rolling_year) = (calendar.room(&cap), rolling.room(&cap));
        Self { cap, calendar_year, rolling_year, stricter, stricter_words }
    }

    /// What the stricter of the two years leaves.
    pub fn least(&self) -> &YearRoom {
        match self.stricter {
            Some(StricterYear::RollingYear) => &self.rolling_year,
            Some(StricterYear::CalendarYear) | None => &self.calendar_year,
        }
    }

    /// Whether more is down than the cap lets be: more than it, or as much where the law says "less than".
    pub fn is_over(&self) -> bool {
        let left = self.least().remaining_lb_per_1000_sqft.raw();
        left < 0 || (left == 0 && !self.cap.limit_allowed)
    }
}

/// What went down on one section, by its days and pieces of ground.
#[derive(Debug, Clone)]
pub struct DatedLoads {
    loads: Vec<DatedLoad>,
    pieces: Vec<Piece>,
}

impl DatedLoads {
    /// The loads of a year and of the [`DAYS_BEFORE`] before it.
    pub fn new(loads: Vec<DatedLoad>) -> Self {
        let pieces = pieces(loads.iter().map(|load| load.parts));
        Self { loads, pieces }
    }

    /// A nutrient on the ground that got most of it within a span, both days among it.
    pub fn within(&self, nutrient: Nutrient, first: Day, last: Day) -> NutrientRate {
        let on = |piece: &Piece| {
            let mut sum = RateSum::default();
            let held = |load: &&DatedLoad| (first..=last).contains(&load.on) && piece.may_hold(load.parts);
            for load in self.loads.iter().filter(held) {
                sum.add(nutrient.load(&load.nutrients), load.area);
            }
            nutrient.rate(&sum)
        };
        self.pieces.iter().map(on).max().unwrap_or(NutrientRate::ZERO)
    }

    /// The last day of the 365 in which most of a nutrient went down, and how much that was; of equals the first.
    fn fullest(&self, nutrient: Nutrient, year: ToldYear) -> (Day, NutrientRate) {
        let counts = |day: &Day| {
            if year.as_of == year.to {
                (year.from..=year.to).contains(day)
            } else {
                (year.as_of..=year.as_of.plus_days(DAYS_BEFORE)).contains(day)
            }
        };
        // A record that was taken back is no work: where nothing of the nutrient stands on a day, no span ends on it.
        let mut standing: BTreeMap<Day, i64> = BTreeMap::new();
        for load in &self.loads {
            *standing.entry(load.on).or_default() += nutrient.load(&load.nutrients);
        }
        standing.retain(|day, stands| *stands != 0 && counts(day));
        standing.insert(year.as_of, 0);
        let full = standing.into_keys().map(|end| (end, self.within(nutrient, end.plus_days(-DAYS_BEFORE), end)));
        // While nothing went down at all, the 365 days are those to the day as of which the year is told.
        let found = full.rev().max_by_key(|(_, rate)| *rate);
        found.filter(|(_, rate)| *rate > NutrientRate::ZERO).unwrap_or((year.as_of, NutrientRate::ZERO))
    }

    /// Holds caps against both years. What went down is added up once for each nutrient, however many caps there are on it.
    pub fn rooms(&self, caps: impl IntoIterator<Item = Arc<YearCap>>, year: ToldYear) -> Vec<CapRooms> {
        let mut known: Vec<(Nutrient, [Applied; 2])> = Vec::new();
        let hold = |cap: Arc<YearCap>| {
            let found = known.iter().find(|(nutrient, _)| *nutrient == cap.nutrient).map(|(_, applied)| *applied);
            let applied = found.unwrap_or_else(|| {
                let applied = self.applied(cap.nutrient, year);
                known.push((cap.nutrient, applied));
                applied
            });
            CapRooms::of(cap, applied)
        };
        caps.into_iter().map(hold).collect()
    }

    /// What went down of a nutrient in the calendar year and in the fullest 365 days.
    fn applied(&self, nutrient: Nutrient, year: ToldYear) -> [Applied; 2] {
        let (end, rolling) = self.fullest(nutrient, year);
        [
            Applied { from: year.from, to: year.to, rate: self.within(nutrient, year.from, year.to) },
            Applied { from: end.plus_days(-DAYS_BEFORE), to: end, rate: rolling },
        ]
    }
}

/// What went down in a span.
#[derive(Debug, Clone, Copy)]
struct Applied {
    from: Day,
    to: Day,
    rate: NutrientRate,
}

impl Applied {
    /// What it leaves under a cap. What went down was rounded up, so that this is rounded down.
    fn room(self, cap: &YearCap) -> YearRoom {
        let limit = cap.limit_lb_per_1000_sqft.raw();
        YearRoom {
            from: self.from,
            to: self.to,
            applied_lb_per_1000_sqft: self.rate,
            remaining_lb_per_1000_sqft: NutrientRoom::from_raw(limit.saturating_sub(self.rate.raw())),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::law::Mark;

    fn day(text: &str) -> Day {
        Day::parse(text).expect("a day")
    }

    fn cap(nutrient: Nutrient, limit: &str) -> YearCap {
        YearCap {
            rule: "xx.year".to_owned(),
            rule_set: "xx".to_owned(),
            nutrient,
            limit_lb_per_1000_sqft: NutrientRate::parse(limit).expect("a rate"),
            limit_allowed: true,
            only_for: None,
            advice: false,
            citation: String::new(),
            href: None,
            mark: Mark::Read,
        }
    }

    /// So many pounds of nitrogen and of phosphate, in hundredths, on 1,000 sq ft.
    fn load(on: &str, nitrogen: i64, phosphate: i64) -> DatedLoad {
        let step = 100_000_000;
        let nutrients = Nutrients {
            nitrogen_lb: TotalNitrogen::from_raw(nitrogen * step),
            quick_nitrogen_lb: QuickNitrogen::ZERO,
            phosphate_lb: Phosphate::from_raw(phosphate * step),
            potash_lb: Potash::ZERO,
        };
        DatedLoad { on: day(on), area: Area::from_raw(100_000), parts: None, nutrients }
    }

    fn told(as_of: &str) -> ToldYear {
        ToldYear { from: day("2026-01-01"), to: day("2026-12-31"), as_of: day(as_of) }
    }

    /// One cap held against both years.
    fn rooms(loads: &[DatedLoad], cap: YearCap, year: ToldYear) -> CapRooms {
        let mut rooms = DatedLoads::new(loads.to_vec()).rooms([Arc::new(cap)], year);
        rooms.remove(0)
    }

    /// What either year leaves, and which leaves less.
    fn left(loads: &[DatedLoad], cap: YearCap, as_of: &str) -> (String, String, String) {
        let rooms = rooms(loads, cap, told(as_of));
        let room = |year: &YearRoom| year.remaining_lb_per_1000_sqft.to_string();
        (room(&rooms.calendar_year), room(&rooms.rolling_year), rooms.stricter_words)
    }

    fn three_rounds() -> [DatedLoad; 3] {
        [load("2025-10-20", 90, 0), load("2025-11-05", 90, 0), load("2026-04-10", 90, 0)]
    }

    #[test]
    fn last_autumn_counts_in_the_365_days_and_not_in_the_calendar_year() {
        // Tall fescue in Maryland: 2.7 lb a year (nutrient-law row MD-07). Three times 0.9 are 2.7.
        let nitrogen = || cap(Nutrient::NitrogenTotal, "2.7");
        let words = |end: &str| format!("Less is left in the 365 days to {end}.");
        let seen = |as_of| left(&three_rounds(), nitrogen(), as_of);
        assert_eq!(seen("2026-09-15"), ("1.8".into(), "0".into(), words("2026-09-15")));
        // October 20 of the year before is the 365th day back from October 19.
        assert_eq!(seen("2026-10-19"), ("1.8".into(), "0".into(), words("2026-10-19")));
        assert_eq!(seen("2026-10-20"), ("1.8".into(), "0.9".into(), words("2026-10-20")));
        assert_eq!(seen("2026-11-05"), ("1.8".into(), "1.8".into(), String::new()));
    }

    #[test]
    fn a_year_that_is_over_is_told_by_the_fullest_365_days_that_ended_in_it() {
        let rooms = rooms(&three_rounds(), cap(Nutrient::NitrogenTotal, "2.7"), told("2026-12-31"));
        let rolling = &rooms.rolling_year;
        assert_eq!((rolling.from, rolling.to), (day("2025-04-11"), day("2026-04-10")));
        assert_eq!(rolling.applied_lb_per_1000_sqft.to_string(), "2.7");
        assert_eq!(rooms.stricter, Some(StricterYear::RollingYear));
        assert_eq!(rooms.least(), rolling);
    }

    #[test]
    fn no_365_days_end_on_a_day_on_which_nothing_stands() {
        // In the year itself half a pound went down in November, when the autumn before was out of the 365 days.
        let rounds = [load("2025-09-01", 90, 0), load("2025-10-10", 90, 0), load("2026-11-01", 50, 0)];
        let rolling = |more: &[DatedLoad]| {
            let loads = [rounds.as_slice(), more].concat();
            let rooms = rooms(&loads, cap(Nutrient::NitrogenTotal, "2.7"), told("2026-12-31"));
            (rooms.rolling_year.to, rooms.rolling_year.applied_lb_per_1000_sqft.to_string())
        };
        let as_it_is = (day("2026-11-01"), "0.5".to_owned());
        assert_eq!(rolling(&[]), as_it_is);
        // Recorded in April and taken back, and phosphate alone.
        assert_eq!(rolling(&[load("2026-04-15", 10, 0), load("2026-04-15", -10, 0)]), as_it_is);
        assert_eq!(rolling(&[load("2026-04-15", 0, 10)]), as_it_is);
        // What stands on that day lies beside the autumn before.
        assert_eq!(rolling(&[load("2026-04-15", 10, 0)]), (day("2026-04-15"), "1.9".to_owned()));
    }

    #[test]
    fn what_was_put_down_early_in_the_year_can_leave_less_than_any_365_days() {
        // In a leap year January 1 is not among the 365 days to December 31; here it is the day as of which the year is told
        // that lies ahead of what is already in the calendar year.
        let rounds = [load("2026-03-01", 100, 0), load("2026-11-01", 100, 0)];
        let (calendar, rolling, words) = left(&rounds, cap(Nutrient::NitrogenTotal, "3"), "2026-06-01");
        assert_eq!((calendar.as_str(), rolling.as_str(), words.as_str()), ("1", "1", ""));
        let leap = ToldYear { from: day("2028-01-01"), to: day("2028-12-31"), as_of: day("2028-12-31") };
        let rounds = [load("2028-01-01", 100, 0), load("2028-12-31", 100, 0)];
        let rooms = rooms(&rounds, cap(Nutrient::NitrogenTotal, "3"), leap);
        assert_eq!(rooms.stricter_words, "Less is left in the calendar year 2028.");
        assert_eq!(rooms.least().remaining_lb_per_1000_sqft.to_string(), "1");
    }

    #[test]
    fn phosphorus_is_counted_in_its_own_weight() {
        // P is 0.4364 of P2O5: 0.5 lb P2O5 are 0.2182 lb P, and of 0.25 lb P that leaves 0.0318.
        let rounds = [load("2026-04-10", 0, 50)];
        assert_eq!(left(&rounds, cap(Nutrient::Phosphorus, "0.25"), "2026-09-15").0, "0.0318");
        assert_eq!(left(&rounds, cap(Nutrient::Phosphate, "0.5"), "2026-09-15").0, "0");
    }

    #[test]
    fn two_halves_are_two_pieces_of_ground_in_both_years() {
        let on = |load: DatedLoad, mask| DatedLoad { parts: Some(Parts { division: 1, mask }), ..load };
        let [autumn, late, spring] = three_rounds();
        let nitrogen = cap(Nutrient::NitrogenTotal, "2.7");
        let seen = left(&[on(autumn, 1), on(late, 2), spring], nitrogen, "2026-09-15");
        assert_eq!((seen.0.as_str(), seen.1.as_str()), ("1.8", "0.9"));
    }

    #[test]
    fn as_much_as_a_cap_is_too_much_where_only_less_is_allowed() {
        // D.C. Code 8-104.03(e)(2), row DC-16: less than 2.5 lb a year of enhanced-efficiency nitrogen.
        let over = |hundredths, limit_allowed| {
            let cap = YearCap { limit_allowed, ..cap(Nutrient::NitrogenTotal, "2.5") };
            rooms(&[load("2026-04-10", hundredths, 0)], cap, told("2026-09-15")).is_over()
        };
        assert_eq!([249, 250, 251].map(|hundredths| over(hundredths, false)), [false, true, true]);
        assert_eq!([249, 250, 251].map(|hundredths| over(hundredths, true)), [false, false, true]);
    }

    #[test]
    fn nothing_put_down_leaves_the_whole_cap_in_both_years() {
        let rooms = rooms(&[], cap(Nutrient::NitrogenTotal, "2.7"), told("2026-09-15"));
        assert_eq!((rooms.stricter, rooms.rolling_year.to), (None, day("2026-09-15")));
        assert_eq!(rooms.least().remaining_lb_per_1000_sqft.to_string(), "2.7");
    }
}
