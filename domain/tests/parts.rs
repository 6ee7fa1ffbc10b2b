//! A lawn in parts is judged by ground: what lies on different parts does not add up, and what may lie upon one another does. Tried
//! against a model that paints unit squares, in exact integers.

use domain::{
    decision::{Decision, Verdict, decide},
    facts::{Facts, PastApplication},
    law::Lawbook,
    parts::{Division, Part, Parts},
    product::Nutrients,
    quantity::{Area, NutrientRoom, Percent, ProductMass, QuickNitrogen, TotalNitrogen},
};
use proptest::prelude::*;
use std::collections::BTreeSet;

use crate::{
    cases::standing,
    facts::{Given, day},
};

/// Squares of 1,000 sq ft, in rows by the division of now and in columns by an older one. The last row and the last column lie in no
/// part. Nobody knows where the one division runs through the other, so every part of one crosses every part of the other.
const ROWS: usize = 4;
const COLUMNS: usize = 3;
const NOW: i64 = 9;
const BEFORE: i64 = 4;
/// Of each part there are as many squares as it crosses others.
const SQUARE: i64 = 100_000;
/// A thousandth of a pound of nitrogen on a square, and the product of 25 % that brings it.
const UNIT: i64 = 10_000_000;
const PRODUCT: i64 = 4_000;
/// Units in a year, and in one application; days between two, and applications in a year.
const YEAR: i64 = 40;
const APPLICATION: i64 = 25;
const DAYS: i32 = 20;
const MOST: usize = 4;

fn law() -> Lawbook {
    let rule = |id: &str, kind: &str, head: &str, value: &str| {
        format!(
            "[[rule]]\nid = \"us-zz.{id}\"\nkind = \"{kind}\"\nbinds = \"applicator\"\naudience = [\"professional\"]\n\
             nutrient = \"nitrogen_total\"\n{head}\n[[rule.value]]\nfrom = 2001-01-01\n{value}\ncite = \"Code 1\"\n\
             href = \"https://law.example/1\"\nmark = \"read\"\n"
        )
    };
    let rate = "unit = \"lb/ksf\"";
    let text = [
        "code = \"us-zz\"\nname = \"A state\"\nlevel = \"state\"\nlast_checked = 2026-11-20\ncoverage = \"Invented, for tests.\"\n\
         local_rules = \"absent\"\n"
            .to_owned(),
        rule("year", "cap_year", rate, "counts = \"all_products\"\ncomparator = \"at_most\"\nvalue = \"0.04\""),
        rule("application", "cap_application", rate, "comparator = \"at_most\"\nvalue = \"0.025\""),
        rule("interval", "interval", "", "days = 20"),
        rule("count", "count_year", "", "most = 4"),
    ];
    Lawbook::from_texts(&[("us-zz.toml", &text.join("\n"))]).unwrap_or_else(|faults| panic!("{faults:#?}"))
}

/// Where a load is told to lie.
#[derive(Debug, Clone, Copy)]
enum Lies {
    Now(u16),
    Before(u16),
    /// On the whole section.
    Whole,
    /// On so many squares, nobody knows which.
    Somewhere(i64),
}

impl Lies {
    fn parts(self) -> Option<Parts> {
        match self {
            Self::Now(mask) => Some(Parts { division: NOW, mask }),
            Self::Before(mask) => Some(Parts { division: BEFORE, mask }),
            Self::Whole | Self::Somewhere(_) => None,
        }
    }

    fn squares(self) -> i64 {
        let squares = |parts: u32, crossed: usize| i64::from(parts) * i64::try_from(crossed).unwrap_or(0);
        match self {
            Self::Now(mask) => squares(mask.count_ones(), COLUMNS),
            Self::Before(mask) => squares(mask.count_ones(), ROWS),
            Self::Whole => squares(1, ROWS * COLUMNS),
            Self::Somewhere(squares) => squares,
        }
    }

    /// Whether the brush may touch a square.
    fn may_touch(self, (row, column): (usize, usize)) -> bool {
        match self {
            Self::Now(mask) => mask >> row & 1 == 1,
            Self::Before(mask) => mask >> column & 1 == 1,
            Self::Whole | Self::Somewhere(_) => true,
        }
    }
}

/// A load: days before the one asked about, units on each of its squares, and where.
#[derive(Debug, Clone, Copy)]
struct Load {
    days: i32,
    units: i64,
    lies: Lies,
}

fn lies() -> impl Strategy<Value = Lies> {
    prop_oneof![
        4 => (1_u16..8).prop_map(Lies::Now),
        2 => (1_u16..4).prop_map(Lies::Before),
        1 => Just(Lies::Whole),
        1 => (1_i64..12).prop_map(Lies::Somewhere),
    ]
}

fn loads() -> impl Strategy<Value = Vec<Load>> {
    let load = (prop_oneof![Just(0_i32), 1_i32..60], 1_i64..14, lies());
    prop::collection::vec(load.prop_map(|(days, units, lies)| Load { days, units, lies }), 0..9)
}

fn asked(line: Load, past: &[Load]) -> Facts {
    let mut facts = Given { n: Some("25".into()), ..Given::default() }.facts(day("2026-06-15"));
    facts.label.nitrogen_percent = Percent::from_raw(2_500);
    facts.label.slow_nitrogen_percent = Percent::ZERO;
    facts.label.phosphate_percent = Percent::ZERO;
    facts.label.potash_percent = Percent::ZERO;
    facts.label.product_limit_lb_per_1000_sqft = None;
    let entry = |load: &Load| PastApplication {
        on: facts.on.plus_days(-load.days),
        area: Area::from_raw(load.lies.squares() * SQUARE),
        parts: load.lies.parts(),
        nutrients: Nutrients {
            nitrogen_lb: TotalNitrogen::from_raw(load.units * load.lies.squares() * UNIT),
            quick_nitrogen_lb: QuickNitrogen::from_raw(load.units * load.lies.squares() * UNIT),
            ..Nutrients::NONE
        },
        enhanced_efficiency: false,
        organic: false,
        purpose: facts.purpose,
        product: domain::facts::PastProduct::default(),
        held: false,
    };
    let entries = past.iter().map(entry).collect();
    let division = |number: i64, names: &[&str], squares: usize| Division {
        number,
        parts: names
            .iter()
            .map(|name| Part {
                name: (*name).to_owned(),
                area: Area::from_raw(i64::try_from(squares).unwrap_or(0) * SQUARE),
            })
            .collect(),
    };
    let asked = &mut facts.lines[0];
    asked.section.area = Area::from_raw(Lies::Whole.squares() * SQUARE);
    asked.section.divisions =
        vec![division(NOW, &["front", "back", "side"], COLUMNS), division(BEFORE, &["east", "west"], ROWS)];
    asked.section.past = entries;
    asked.area = Area::from_raw(line.lies.squares() * SQUARE);
    asked.parts = line.lies.parts();
    asked.product = ProductMass::from_raw(line.units * line.lies.squares() * PRODUCT);
    facts
}

/// What the brush says: of all squares that the line may touch the one that is worst off, by each rule.
struct Painted {
    /// Units of the year beside the line, and of the day.
    year: i64,
    of_the_day: i64,
    /// Whether another day is too near, and days with an application, this one among them.
    near: bool,
    days: usize,
}

fn painted(line: Load, past: &[Load]) -> Painted {
    let squares = (0..ROWS).flat_map(|row| (0..COLUMNS).map(move |column| (row, column)));
    let mut worst = Painted { year: 0, of_the_day: 0, near: false, days: 0 };
    for square in squares.filter(|square| line.lies.may_touch(*square)) {
        let here: Vec<&Load> = past.iter().filter(|load| load.lies.may_touch(square)).collect();
        let units = |of: &dyn Fn(&Load) -> bool| here.iter().filter(|load| of(load)).map(|load| load.units).sum();
        worst.year = worst.year.max(units(&|_| true));
        worst.of_the_day = worst.of_the_day.max(units(&|load| load.days == 0));
        worst.near |= here.iter().any(|load| (1..DAYS).contains(&load.days));
        let days: BTreeSet<i32> = here.iter().map(|load| load.days).chain([0]).collect();
        worst.days = worst.days.max(days.len());
    }
    worst
}

fn told(decision: &Decision) -> [bool; 4] {
    ["year", "application", "interval", "count"].map(|rule| standing(decision, &format!("us-zz.{rule}")) == "met")
}

proptest! {
    #[test]
    fn the_answer_by_ground_is_that_of_painted_squares(units in 1_i64..30, lies in lies(), past in loads()) {
        let line = Load { days: 0, units, lies };
        let decision = decide(&law(), &["us-zz".to_owned()], &asked(line, &past));
        let worst = painted(line, &past);
        let expected = [
            worst.year + units <= YEAR,
            worst.of_the_day + units <= APPLICATION,
            !worst.near,
            worst.days <= MOST,
        ];
        prop_assert_eq!(told(&decision), expected, "{:?}", decision.findings);
        let section = &decision.sections[0];
        let left = (YEAR - worst.year).min(APPLICATION - worst.of_the_day).max(0);
        let forbidden = !expected[2] || !expected[3];
        let most = if forbidden { 0 } else { left * line.lies.squares() * PRODUCT };
        prop_assert_eq!(section.largest_lawful_product_lb, Some(ProductMass::from_raw(most)));
        let room = |units: i64| Some(NutrientRoom::from_raw(units * 1_000));
        prop_assert_eq!(section.nitrogen_room_before_lb_per_1000_sqft, room(YEAR - worst.year));
        prop_assert_eq!(section.nitrogen_room_after_lb_per_1000_sqft, room(YEAR - worst.year - units));
    }
}

#[test]
fn two_halves_are_lawful_and_the_same_half_twice_is_not() {
    let load = |lies: Lies, days: i32| Load { days, units: 25, lies };
    let (front, back) = (Lies::Now(1), Lies::Now(2));
    let verdict = |line: Lies, past: &[Load]| {
        let decision = decide(&law(), &["us-zz".to_owned()], &asked(load(line, 0), past));
        (decision.verdict == Verdict::Stop, decision)
    };
    assert!(!verdict(back, &[load(front, 0)]).0, "two trips of a day, a half each");
    let (stops, decision) = verdict(front, &[load(front, 30)]);
    assert!(stops);
    let finding = &decision.findings[0];
    // 0.04 lb a year, and 0.025 lb went down: by subtraction 0.015 lb is left.
    assert!(finding.message.contains("Only 0.015") && finding.message.contains("(front)"), "{}", finding.message);
    assert!(verdict(Lies::Whole, &[load(front, 30)]).0, "the whole lies on the half");
    assert!(verdict(front, &[load(Lies::Whole, 30)]).0, "the half lies on the whole");
    assert!(verdict(back, &[load(Lies::Before(1), 30)]).0, "a part of an older division may be the same ground");
    assert!(verdict(back, &[load(Lies::Somewhere(3), 30)]).0, "so may a part that nobody named");
    assert!(!verdict(back, &[load(front, 30), load(Lies::Now(4), 25)]).0);
}
