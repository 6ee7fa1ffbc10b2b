//! The schedules that were read, each with its days and rates.
//!
//! Where a source says cool-season or a northern lawn and names no grass, bluegrass, ryegrass and tall fescue are meant, and
//! nitrogen that a source only calls slow is at least 15 % slow, below which the label law of Pennsylvania and Montana (read)
//! lets nobody call it so; soluble is less than that (*common practice*). Early spring and green-up are March, late summer the end of
//! August to September 20 (*common practice*).
//!
//! Not here is what was read and is no programme with days and rates of nitrogen: North Florida's centipede and the end of Florida's
//! St. Augustine calendar (no rates), North Carolina's limits on tall fescue in spring and summer (what not to do; a rate was lost in
//! the copy), its bermuda and centipede notes (its table has them), Colorado's five windows (no rates), the laboratory's three
//! applications (a line was lost), the shade table of Arizona and Nebraska's one round (a part of a year).

use super::published::{
    Published,
    Release::{QuickAtMost, SlowAtLeast, SlowAtMost},
    Step, optional, released, step,
};
use crate::{
    explain::SourceMark,
    land::Species::{
        self, Bahia, Bermuda, Centipede, FineFescue, KentuckyBluegrass, PerennialRyegrass, StAugustine, TallFescue,
        Zoysia,
    },
    law::month_day::MonthDay,
};

const MARYLAND: &str = "University of Maryland Extension, Lawn Fertilizer Schedule";
const NORTH_CAROLINA: &str = "NC State, Caring for Your Lawn and the Environment, central Piedmont";

const IOWA: &str = "Iowa State, How Often Should I Fertilize My Lawn?";
const KANSAS: &str = "Kansas State, Fertilize at the Right Time, read in a newspaper";
const VIRGINIA: &str = "Virginia DCR, Urban Nutrient Management, fertilizer calculator";
const ILLINOIS: &str = "University of Illinois Extension, Lawn Talk, Fertilizer Schedule for Home Lawns";
const ILLINOIS_TABLE: &str =
    "University of Illinois Extension, annual nitrogen for cool-season lawns, read in a reprint";
const TEXAS: &str =
    "Texas A&M AgriLife Extension, autumn fertilizing of warm-season lawns; the rates read in a reprint";
const LABORATORY: &str = "AGVISE Laboratories, Lawn Fertilization: a commercial laboratory of the northern plains";
const COOL: &[Species] = &[TallFescue, KentuckyBluegrass, PerennialRyegrass];

/// Of Maryland's steps: 0.9 lb where a fifth of the nitrogen is slow, else 0.7.
const fn fifth_slow(step: Step) -> Step {
    released(QuickAtMost(20, 70), step)
}

/// Of Virginia's calculator: its figures are for slow-release products, at least 15 % slow by its regulation.
const fn slow(step: Step) -> Step {
    released(SlowAtLeast(15), step)
}

const fn soluble(step: Step) -> Step {
    released(SlowAtMost(15), step)
}

/// One pound in so many days.
const fn pound(from: MonthDay, to: MonthDay) -> Step {
    step(from, to, 100, 100)
}

const fn of(
    name: &'static str,
    species: &'static [Species],
    steps: &'static [Step],
    (source, mark): (&'static str, SourceMark),
) -> Published {
    Published { name, species, steps, year_at_most: None, source, mark }
}

const fn maryland(name: &'static str, species: &'static [Species], steps: &'static [Step], most: i64) -> Published {
    Published { name, species, steps, year_at_most: Some(most), source: MARYLAND, mark: SourceMark::Read }
}

const fn north_carolina(name: &'static str, species: &'static [Species], steps: &'static [Step]) -> Published {
    Published { name, species, steps, year_at_most: None, source: NORTH_CAROLINA, mark: SourceMark::Read }
}

/// Every programme that was read with its days and rates.
pub const PUBLISHED: &[Published] = &[
    maryland(
        "Maryland, tall fescue and Kentucky bluegrass",
        &[TallFescue, KentuckyBluegrass],
        &[
            fifth_slow(optional((5, 1), (6, 10), 50, 90)),
            fifth_slow(step((9, 1), (9, 30), 70, 90)),
            fifth_slow(step((10, 1), (11, 15), 70, 90)),
        ],
        270,
    ),
    maryland(
        "Maryland, fine fescue",
        &[FineFescue],
        &[optional((5, 1), (6, 10), 50, 50), fifth_slow(step((9, 1), (11, 15), 70, 90))],
        140,
    ),
    maryland(
        "Maryland, zoysia",
        &[Zoysia],
        &[fifth_slow(step((5, 1), (6, 10), 70, 90)), fifth_slow(optional((6, 11), (7, 31), 50, 90))],
        180,
    ),
    maryland(
        "Maryland, bermuda",
        &[Bermuda],
        &[
            fifth_slow(step((5, 1), (6, 10), 70, 90)),
            fifth_slow(step((6, 11), (7, 31), 70, 90)),
            fifth_slow(optional((8, 1), (8, 20), 50, 90)),
        ],
        270,
    ),
    north_carolina(
        "North Carolina, tall fescue and Kentucky bluegrass",
        &[TallFescue, KentuckyBluegrass],
        &[step((2, 1), (2, 29), 50, 100), step((9, 1), (9, 30), 100, 100), step((11, 1), (11, 30), 100, 100)],
    ),
    north_carolina(
        "North Carolina, bermuda",
        &[Bermuda],
        &[
            step((5, 1), (5, 31), 100, 100),
            step((6, 1), (6, 30), 100, 100),
            step((7, 1), (7, 31), 100, 100),
            step((8, 1), (8, 31), 100, 100),
        ],
    ),
    north_carolina(
        "North Carolina, St. Augustine",
        &[StAugustine],
        &[
            step((5, 1), (5, 31), 50, 50),
            step((6, 1), (6, 30), 50, 50),
            step((7, 1), (7, 31), 100, 100),
            step((8, 1), (8, 31), 50, 50),
        ],
    ),
    north_carolina(
        "North Carolina, zoysia",
        &[Zoysia],
        &[step((4, 1), (4, 30), 50, 50), step((6, 1), (6, 30), 50, 50), step((8, 1), (8, 31), 50, 50)],
    ),
    north_carolina("North Carolina, bahia", &[Bahia], &[step((5, 1), (5, 31), 50, 50), step((7, 1), (7, 31), 50, 50)]),
    north_carolina("North Carolina, centipede", &[Centipede], &[step((6, 1), (6, 30), 50, 50)]),
    Published {
        name: "Virginia, cool-season, slow-release",
        species: COOL,
        steps: &[
            slow(optional((5, 1), (5, 31), 0, 50)),
            slow(step((9, 1), (9, 30), 50, 90)),
            slow(step((10, 1), (10, 31), 0, 90)),
            slow(step((11, 1), (11, 10), 0, 90)),
        ],
        year_at_most: Some(350),
        source: VIRGINIA,
        mark: SourceMark::Read,
    },
    Published {
        name: "Virginia, bermuda and St. Augustine, slow-release",
        species: &[Bermuda, StAugustine],
        steps: &[
            slow(optional((4, 1), (4, 30), 0, 100)),
            slow(pound((5, 1), (5, 31))),
            slow(optional((6, 1), (6, 30), 100, 100)),
            slow(pound((7, 1), (8, 31))),
        ],
        year_at_most: Some(400),
        source: VIRGINIA,
        mark: SourceMark::Read,
    },
    of(
        "Iowa, bluegrass, three applications",
        &[KentuckyBluegrass],
        &[pound((4, 1), (5, 31)), pound((9, 11), (9, 20)), pound((10, 21), (11, 10))],
        (IOWA, SourceMark::Read),
    ),
    of(
        "Iowa, bluegrass, two applications",
        &[KentuckyBluegrass],
        &[pound((9, 11), (9, 20)), pound((10, 21), (11, 10))],
        (IOWA, SourceMark::Read),
    ),
    of(
        "Iowa, bluegrass, one application",
        &[KentuckyBluegrass],
        &[pound((10, 21), (11, 10))],
        (IOWA, SourceMark::Read),
    ),
    Published {
        name: "Kansas, cool-season, high",
        species: &[TallFescue, KentuckyBluegrass],
        steps: &[
            pound((5, 1), (5, 31)),
            optional((6, 11), (7, 10), 50, 50),
            pound((9, 1), (9, 30)),
            step((11, 1), (11, 30), 100, 150),
        ],
        year_at_most: Some(400),
        source: KANSAS,
        mark: SourceMark::Read2,
    },
    of(
        "Kansas, cool-season, medium",
        &[TallFescue, KentuckyBluegrass],
        &[pound((9, 1), (9, 30)), pound((11, 1), (11, 30))],
        (KANSAS, SourceMark::Read2),
    ),
    of(
        "Kansas, cool-season, low",
        &[TallFescue, KentuckyBluegrass],
        &[pound((9, 1), (9, 30))],
        (KANSAS, SourceMark::Read2),
    ),
    Published {
        name: "Washington State, east side",
        species: &[KentuckyBluegrass, PerennialRyegrass],
        steps: &[pound((5, 1), (5, 31)), pound((6, 1), (6, 30)), pound((9, 1), (9, 30)), pound((11, 1), (11, 15))],
        year_at_most: Some(400),
        source: "Washington State extension column, read in a newspaper: a missed application is not doubled",
        mark: SourceMark::Read2,
    },
    of(
        "Northern Illinois, three applications",
        COOL,
        &[slow(pound((5, 8), (5, 14))), slow(pound((9, 1), (9, 15))), soluble(pound((10, 21), (11, 10)))],
        (ILLINOIS, SourceMark::Read),
    ),
    of("Illinois, cool-season, one application", COOL, &[pound((9, 1), (9, 10))], (ILLINOIS_TABLE, SourceMark::Read2)),
    of(
        "Illinois, cool-season, two applications",
        COOL,
        &[pound((5, 1), (5, 10)), pound((9, 1), (9, 10))],
        (ILLINOIS_TABLE, SourceMark::Read2),
    ),
    of(
        "Illinois, cool-season, three applications",
        COOL,
        &[pound((5, 1), (5, 10)), pound((9, 1), (9, 10)), pound((10, 21), (11, 30))],
        (ILLINOIS_TABLE, SourceMark::Read2),
    ),
    of(
        "Illinois, cool-season, four applications",
        COOL,
        &[pound((5, 1), (5, 10)), slow(pound((6, 11), (6, 20))), pound((9, 1), (9, 10)), pound((10, 21), (11, 30))],
        (ILLINOIS_TABLE, SourceMark::Read2),
    ),
    of("Northern Illinois, one application", COOL, &[slow(pound((9, 1), (9, 15)))], (ILLINOIS, SourceMark::Read)),
    of(
        "Chicago, three applications",
        COOL,
        &[pound((5, 1), (5, 31)), pound((9, 1), (9, 10)), soluble(pound((10, 21), (11, 10)))],
        ("Chicago Botanic Garden, Fertilizing Lawns", SourceMark::Read),
    ),
    of(
        "Indiana, cool-season, autumn",
        COOL,
        &[pound((9, 1), (9, 30)), soluble(step((11, 1), (11, 14), 50, 100))],
        ("Purdue, Fall Fertilization; the November rate read in a trade magazine", SourceMark::Read2),
    ),
    of(
        "North Dakota, cool-season, autumn",
        COOL,
        &[released(SlowAtLeast(50), pound((9, 1), (9, 15)))],
        ("North Dakota State Extension, read in a farm paper", SourceMark::Read2),
    ),
    of(
        "New York, cool-season, low maintenance",
        COOL,
        &[pound((10, 31), (11, 22))],
        ("Cornell, gardening page, an older one: between Halloween and Thanksgiving", SourceMark::Read),
    ),
    of(
        "Kentucky, tall fescue, late autumn",
        &[TallFescue],
        &[step((11, 1), (12, 10), 100, 150)],
        ("University of Kentucky, fertilizing fescue: November into December", SourceMark::Read),
    ),
    of("Northern plains, one application", COOL, &[pound((9, 1), (9, 10))], (LABORATORY, SourceMark::Read)),
    of(
        "Northern plains, two applications",
        COOL,
        &[pound((5, 1), (5, 10)), pound((9, 1), (9, 10))],
        (LABORATORY, SourceMark::Read),
    ),
    of(
        "Northern plains, irrigated, four applications",
        COOL,
        &[pound((5, 1), (5, 10)), pound((6, 11), (6, 20)), pound((9, 1), (9, 10)), pound((10, 21), (10, 31))],
        (LABORATORY, SourceMark::Read),
    ),
    of(
        "Kansas, bermuda, every four weeks",
        &[Bermuda],
        &[pound((5, 1), (5, 10)), pound((5, 29), (6, 7)), pound((6, 26), (7, 5)), pound((7, 24), (8, 2))],
        (
            "Kansas State, Fertilize Warm-Season Lawn Grasses, read in a newspaper: early May and about every four weeks, none after August 15",
            SourceMark::Read2,
        ),
    ),
    of(
        "Georgia, centipede",
        &[Centipede],
        &[step((3, 1), (3, 31), 60, 60), optional((8, 1), (8, 10), 60, 60)],
        ("University of Georgia, a county's centipede sheet: 5 lb of 12-4-8, again if needed", SourceMark::Read2),
    ),
    of(
        "Texas, bermuda and zoysia, autumn",
        &[Bermuda, Zoysia],
        &[pound((9, 15), (10, 15))],
        (TEXAS, SourceMark::Read2),
    ),
    of(
        "Texas, centipede and St. Augustine, autumn",
        &[Centipede, StAugustine],
        &[step((9, 15), (10, 15), 50, 75)],
        (TEXAS, SourceMark::Read2),
    ),
    of(
        "Kansas, zoysia",
        &[Zoysia],
        &[step((6, 1), (6, 10), 75, 100), step((7, 11), (7, 20), 75, 100)],
        (
            "Kansas State, Fertilize Warm-Season Lawn Grasses, read in a newspaper; halves of its year",
            SourceMark::Read2,
        ),
    ),
    of(
        "Florida, St. Augustine, high",
        &[StAugustine],
        &[pound((3, 1), (3, 31)), pound((5, 1), (5, 31)), pound((7, 1), (7, 31)), pound((9, 1), (9, 30))],
        ("University of Florida, Yearly Calendar for St. Augustinegrass, read in a copy", SourceMark::Read2),
    ),
    of(
        "Florida, St. Augustine, low",
        &[StAugustine],
        &[pound((3, 1), (3, 31)), pound((8, 21), (9, 20))],
        (
            "University of Florida, Yearly Calendar for St. Augustinegrass, read in a copy: green-up and late summer",
            SourceMark::Read2,
        ),
    ),
];

/// A programme by its name.
pub fn published(name: &str) -> Option<&'static Published> {
    PUBLISHED.iter().find(|programme| programme.name == name)
}
