//! The published schedules as their sources print them, against which `schedules` holds what is planned.

use domain::programme::published::Maintenance::{self, High, Low, Medium};

/// Each step as the table prints it: first day, last day, pounds of nitrogen at that level.
pub struct Table {
    pub name: &'static str,
    pub level: Maintenance,
    pub steps: &'static [(&'static str, &'static str, &'static str)],
}

const fn table(
    name: &'static str,
    level: Maintenance,
    steps: &'static [(&'static str, &'static str, &'static str)],
) -> Table {
    Table { name, level, steps }
}

/// University of Maryland Extension, Lawn Fertilizer Schedule, read: tall fescue and bluegrass 0.7 to 0.9 lb in September and
/// again by November 15, 0.5 to 0.9 in May to early June optional; fine fescue 0.7 to 0.9 once and 0.5 optional; zoysia 0.7
/// to 0.9 in May to early June, 0.5 to 0.9 in June or July optional; bermuda 0.7 to 0.9 twice, and by mid-August 0.5 to 0.9
/// optional. 0.7 where all nitrogen is soluble, 0.9 where a part is slow.
const MARYLAND: &[Table] = &[
    table(
        "Maryland, tall fescue and Kentucky bluegrass",
        High,
        &[("05-01", "06-10", "0.9"), ("09-01", "09-30", "0.9"), ("10-01", "11-15", "0.9")],
    ),
    table(
        "Maryland, tall fescue and Kentucky bluegrass",
        Medium,
        &[("09-01", "09-30", "0.9"), ("10-01", "11-15", "0.9")],
    ),
    table("Maryland, tall fescue and Kentucky bluegrass", Low, &[("09-01", "09-30", "0.7"), ("10-01", "11-15", "0.7")]),
    table("Maryland, fine fescue", High, &[("05-01", "06-10", "0.5"), ("09-01", "11-15", "0.9")]),
    table("Maryland, fine fescue", Medium, &[("09-01", "11-15", "0.9")]),
    table("Maryland, zoysia", High, &[("05-01", "06-10", "0.9"), ("06-11", "07-31", "0.9")]),
    table("Maryland, zoysia", Medium, &[("05-01", "06-10", "0.9")]),
    table(
        "Maryland, bermuda",
        High,
        &[("05-01", "06-10", "0.9"), ("06-11", "07-31", "0.9"), ("08-01", "08-20", "0.9")],
    ),
    table("Maryland, bermuda", Medium, &[("05-01", "06-10", "0.9"), ("06-11", "07-31", "0.9")]),
];

/// NC State, Caring for Your Lawn and the Environment, central Piedmont, read.
const NORTH_CAROLINA: &[Table] = &[
    table(
        "North Carolina, tall fescue and Kentucky bluegrass",
        High,
        &[("02-01", "02-29", "1"), ("09-01", "09-30", "1"), ("11-01", "11-30", "1")],
    ),
    table(
        "North Carolina, tall fescue and Kentucky bluegrass",
        Low,
        &[("02-01", "02-29", "0.5"), ("09-01", "09-30", "1"), ("11-01", "11-30", "1")],
    ),
    table(
        "North Carolina, bermuda",
        Medium,
        &[("05-01", "05-31", "1"), ("06-01", "06-30", "1"), ("07-01", "07-31", "1"), ("08-01", "08-31", "1")],
    ),
    table(
        "North Carolina, St. Augustine",
        Medium,
        &[("05-01", "05-31", "0.5"), ("06-01", "06-30", "0.5"), ("07-01", "07-31", "1"), ("08-01", "08-31", "0.5")],
    ),
    table(
        "North Carolina, zoysia",
        Medium,
        &[("04-01", "04-30", "0.5"), ("06-01", "06-30", "0.5"), ("08-01", "08-31", "0.5")],
    ),
    table("North Carolina, bahia", Medium, &[("05-01", "05-31", "0.5"), ("07-01", "07-31", "0.5")]),
    table("North Carolina, centipede", Medium, &[("06-01", "06-30", "0.5")]),
];

/// Virginia DCR, fertilizer calculator, slow-release, read: cool-season grass 0.5 to 0.9 lb in September, 0 to 0.9 in October
/// and in early November, 0 to 0.5 in May optional; warm-season grass 1.0 in May and in July or August, 0 to 1.0 in April
/// and 1.0 in June optional.
const VIRGINIA: &[Table] = &[
    table(
        "Virginia, cool-season, slow-release",
        High,
        &[("05-01", "05-31", "0.5"), ("09-01", "09-30", "0.9"), ("10-01", "10-31", "0.9"), ("11-01", "11-10", "0.9")],
    ),
    table("Virginia, cool-season, slow-release", Low, &[("09-01", "09-30", "0.5")]),
    table(
        "Virginia, bermuda and St. Augustine, slow-release",
        High,
        &[("04-01", "04-30", "1"), ("05-01", "05-31", "1"), ("06-01", "06-30", "1"), ("07-01", "08-31", "1")],
    ),
    table(
        "Virginia, bermuda and St. Augustine, slow-release",
        Medium,
        &[("05-01", "05-31", "1"), ("07-01", "08-31", "1")],
    ),
];

/// Iowa State, How Often Should I Fertilize My Lawn?, read: vigorous April or May, mid-September, late October or early
/// November; moderate the last two, minimal the last. Kansas State, read in a newspaper: low September, medium September and
/// November, high with May, November 1 to 1.5, and 0.5 in mid-June to early July if needed; zoysia in early June and mid-July,
/// 1.5 to 2 lb in the year (halves computed). Washington State, read in a newspaper: May, June, September, November 1 to 15.
const WEST: &[Table] = &[
    table(
        "Iowa, bluegrass, three applications",
        Medium,
        &[("04-01", "05-31", "1"), ("09-11", "09-20", "1"), ("10-21", "11-10", "1")],
    ),
    table("Iowa, bluegrass, two applications", Medium, &[("09-11", "09-20", "1"), ("10-21", "11-10", "1")]),
    table("Iowa, bluegrass, one application", Medium, &[("10-21", "11-10", "1")]),
    table(
        "Kansas, cool-season, high",
        High,
        &[("05-01", "05-31", "1"), ("06-11", "07-10", "0.5"), ("09-01", "09-30", "1"), ("11-01", "11-30", "1.5")],
    ),
    table(
        "Kansas, cool-season, high",
        Low,
        &[("05-01", "05-31", "1"), ("09-01", "09-30", "1"), ("11-01", "11-30", "1")],
    ),
    table("Kansas, cool-season, medium", Medium, &[("09-01", "09-30", "1"), ("11-01", "11-30", "1")]),
    table("Kansas, cool-season, low", Medium, &[("09-01", "09-30", "1")]),
    table("Kansas, zoysia", Low, &[("06-01", "06-10", "0.75"), ("07-11", "07-20", "0.75")]),
    table("Kansas, zoysia", High, &[("06-01", "06-10", "1"), ("07-11", "07-20", "1")]),
    table(
        "Washington State, east side",
        Medium,
        &[("05-01", "05-31", "1"), ("06-01", "06-30", "1"), ("09-01", "09-30", "1"), ("11-01", "11-15", "1")],
    ),
];

/// University of Illinois, Lawn Talk, read: Mother's Day, September 1 to 15, late autumn; slow in May and September, fast in
/// late autumn; once only, in autumn. Chicago Botanic Garden, read: May, early September, late October or early November, the
/// last fast. Purdue, read, its November in a trade magazine: September 1.0, first weeks of November 0.5 to 1.0 soluble. North
/// Dakota, read in a farm paper: by September 15, half of it slow. Cornell, older page, read: once between Halloween and
/// Thanksgiving, which is November 22 at the earliest. AGVISE Laboratories, read: early September; with early May; irrigated with mid-June and late October as well.
const NORTH: &[Table] = &[
    table(
        "Northern Illinois, three applications",
        Medium,
        &[("05-08", "05-14", "1"), ("09-01", "09-15", "1"), ("10-21", "11-10", "1")],
    ),
    table("Northern Illinois, one application", Medium, &[("09-01", "09-15", "1")]),
    table(
        "Chicago, three applications",
        Medium,
        &[("05-01", "05-31", "1"), ("09-01", "09-10", "1"), ("10-21", "11-10", "1")],
    ),
    table("Indiana, cool-season, autumn", Low, &[("09-01", "09-30", "1"), ("11-01", "11-14", "0.5")]),
    table("Indiana, cool-season, autumn", High, &[("09-01", "09-30", "1"), ("11-01", "11-14", "1")]),
    table("North Dakota, cool-season, autumn", Medium, &[("09-01", "09-15", "1")]),
    table("New York, cool-season, low maintenance", Medium, &[("10-31", "11-22", "1")]),
    table("Northern plains, one application", Medium, &[("09-01", "09-10", "1")]),
    table("Northern plains, two applications", Medium, &[("05-01", "05-10", "1"), ("09-01", "09-10", "1")]),
    table(
        "Northern plains, irrigated, four applications",
        Medium,
        &[("05-01", "05-10", "1"), ("06-11", "06-20", "1"), ("09-01", "09-10", "1"), ("10-21", "10-31", "1")],
    ),
];

/// University of Florida, St. Augustinegrass calendar, read in a copy: high, 4 lb as March, May, July, September; low, 2 lb at
/// green-up and in late summer. University of Georgia, a county's sheet, read in a copy: 0.6 lb in early spring, the same in early
/// August if needed. Texas, rates read in a copy, dates read: September 15 to October 15, 1 lb, or 0.5 to 0.75 on centipede and St.
/// Augustine. Kansas State, read in a newspaper: bermuda 1 lb about every four weeks from early May on, the last by August 15.
const SOUTH: &[Table] = &[
    table(
        "Florida, St. Augustine, high",
        Medium,
        &[("03-01", "03-31", "1"), ("05-01", "05-31", "1"), ("07-01", "07-31", "1"), ("09-01", "09-30", "1")],
    ),
    table("Florida, St. Augustine, low", Medium, &[("03-01", "03-31", "1"), ("08-21", "09-20", "1")]),
    table("Georgia, centipede", Medium, &[("03-01", "03-31", "0.6")]),
    table("Georgia, centipede", High, &[("03-01", "03-31", "0.6"), ("08-01", "08-10", "0.6")]),
    table("Texas, bermuda and zoysia, autumn", Medium, &[("09-15", "10-15", "1")]),
    table("Texas, centipede and St. Augustine, autumn", Low, &[("09-15", "10-15", "0.5")]),
    table("Texas, centipede and St. Augustine, autumn", High, &[("09-15", "10-15", "0.75")]),
    table(
        "Kansas, bermuda, every four weeks",
        Medium,
        &[("05-01", "05-10", "1"), ("05-29", "06-07", "1"), ("06-26", "07-05", "1"), ("07-24", "08-02", "1")],
    ),
];

/// University of Illinois by yearly total, read in a copy: 1 lb in early September; 2 lb in early May, too; 3 lb in late October or
/// November, too; 4 lb with mid-June, slow. University of Kentucky, read: fescue 1 to 1.5 lb from November into December.
const MIDDLE: &[Table] = &[
    table("Illinois, cool-season, one application", Medium, &[("09-01", "09-10", "1")]),
    table("Illinois, cool-season, two applications", Medium, &[("05-01", "05-10", "1"), ("09-01", "09-10", "1")]),
    table(
        "Illinois, cool-season, three applications",
        Medium,
        &[("05-01", "05-10", "1"), ("09-01", "09-10", "1"), ("10-21", "11-30", "1")],
    ),
    table(
        "Illinois, cool-season, four applications",
        Medium,
        &[("05-01", "05-10", "1"), ("06-11", "06-20", "1"), ("09-01", "09-10", "1"), ("10-21", "11-30", "1")],
    ),
    table("Kentucky, tall fescue, late autumn", Low, &[("11-01", "12-10", "1")]),
    table("Kentucky, tall fescue, late autumn", High, &[("11-01", "12-10", "1.5")]),
];

pub fn tables() -> impl Iterator<Item = &'static Table> {
    [MARYLAND, NORTH_CAROLINA, VIRGINIA, WEST, NORTH, MIDDLE, SOUTH].into_iter().flatten()
}

/// Every step as its source prints it: first day, last day, pounds of nitrogen on 1,000 sq ft, whether the source calls it optional,
/// and what it asks of the release, in percent of the nitrogen that is slow. Sources stand with the tables above; Maryland gives 0.7
/// lb at most where less than a fifth is slow, Virginia's figures are for slow-release products, at least 15 % slow (row VA-20).
const PRINTED: &[(&str, &str)] = &[
    (
        "Maryland, tall fescue and Kentucky bluegrass",
        "05-01 06-10 0.5-0.9 optional slow<20:0.70; 09-01 09-30 0.7-0.9 slow<20:0.70; 10-01 11-15 0.7-0.9 slow<20:0.70",
    ),
    ("Maryland, fine fescue", "05-01 06-10 0.5 optional; 09-01 11-15 0.7-0.9 slow<20:0.70"),
    ("Maryland, zoysia", "05-01 06-10 0.7-0.9 slow<20:0.70; 06-11 07-31 0.5-0.9 optional slow<20:0.70"),
    (
        "Maryland, bermuda",
        "05-01 06-10 0.7-0.9 slow<20:0.70; 06-11 07-31 0.7-0.9 slow<20:0.70; 08-01 08-20 0.5-0.9 optional slow<20:0.70",
    ),
    ("North Carolina, tall fescue and Kentucky bluegrass", "02-01 02-29 0.5-1; 09-01 09-30 1; 11-01 11-30 1"),
    ("North Carolina, bermuda", "05-01 05-31 1; 06-01 06-30 1; 07-01 07-31 1; 08-01 08-31 1"),
    ("North Carolina, St. Augustine", "05-01 05-31 0.5; 06-01 06-30 0.5; 07-01 07-31 1; 08-01 08-31 0.5"),
    ("North Carolina, zoysia", "04-01 04-30 0.5; 06-01 06-30 0.5; 08-01 08-31 0.5"),
    ("North Carolina, bahia", "05-01 05-31 0.5; 07-01 07-31 0.5"),
    ("North Carolina, centipede", "06-01 06-30 0.5"),
    (
        "Virginia, cool-season, slow-release",
        "05-01 05-31 0-0.5 optional slow>=15; 09-01 09-30 0.5-0.9 slow>=15; 10-01 10-31 0-0.9 slow>=15; 11-01 11-10 0-0.9 slow>=15",
    ),
    (
        "Virginia, bermuda and St. Augustine, slow-release",
        "04-01 04-30 0-1 optional slow>=15; 05-01 05-31 1 slow>=15; 06-01 06-30 1 optional slow>=15; 07-01 08-31 1 slow>=15",
    ),
    ("Iowa, bluegrass, three applications", "04-01 05-31 1; 09-11 09-20 1; 10-21 11-10 1"),
    ("Iowa, bluegrass, two applications", "09-11 09-20 1; 10-21 11-10 1"),
    ("Iowa, bluegrass, one application", "10-21 11-10 1"),
    ("Kansas, cool-season, high", "05-01 05-31 1; 06-11 07-10 0.5 optional; 09-01 09-30 1; 11-01 11-30 1-1.5"),
    ("Kansas, cool-season, medium", "09-01 09-30 1; 11-01 11-30 1"),
    ("Kansas, cool-season, low", "09-01 09-30 1"),
    ("Kansas, bermuda, every four weeks", "05-01 05-10 1; 05-29 06-07 1; 06-26 07-05 1; 07-24 08-02 1"),
    ("Kansas, zoysia", "06-01 06-10 0.75-1; 07-11 07-20 0.75-1"),
    ("Washington State, east side", "05-01 05-31 1; 06-01 06-30 1; 09-01 09-30 1; 11-01 11-15 1"),
    ("Northern Illinois, three applications", "05-08 05-14 1 slow>=15; 09-01 09-15 1 slow>=15; 10-21 11-10 1 slow<=15"),
    ("Northern Illinois, one application", "09-01 09-15 1 slow>=15"),
    ("Illinois, cool-season, one application", "09-01 09-10 1"),
    ("Illinois, cool-season, two applications", "05-01 05-10 1; 09-01 09-10 1"),
    ("Illinois, cool-season, three applications", "05-01 05-10 1; 09-01 09-10 1; 10-21 11-30 1"),
    ("Illinois, cool-season, four applications", "05-01 05-10 1; 06-11 06-20 1 slow>=15; 09-01 09-10 1; 10-21 11-30 1"),
    ("Chicago, three applications", "05-01 05-31 1; 09-01 09-10 1; 10-21 11-10 1 slow<=15"),
    ("Indiana, cool-season, autumn", "09-01 09-30 1; 11-01 11-14 0.5-1 slow<=15"),
    ("North Dakota, cool-season, autumn", "09-01 09-15 1 slow>=50"),
    ("New York, cool-season, low maintenance", "10-31 11-22 1"),
    ("Kentucky, tall fescue, late autumn", "11-01 12-10 1-1.5"),
    ("Northern plains, one application", "09-01 09-10 1"),
    ("Northern plains, two applications", "05-01 05-10 1; 09-01 09-10 1"),
    ("Northern plains, irrigated, four applications", "05-01 05-10 1; 06-11 06-20 1; 09-01 09-10 1; 10-21 10-31 1"),
    ("Georgia, centipede", "03-01 03-31 0.6; 08-01 08-10 0.6 optional"),
    ("Texas, bermuda and zoysia, autumn", "09-15 10-15 1"),
    ("Texas, centipede and St. Augustine, autumn", "09-15 10-15 0.5-0.75"),
    ("Florida, St. Augustine, high", "03-01 03-31 1; 05-01 05-31 1; 07-01 07-31 1; 09-01 09-30 1"),
    ("Florida, St. Augustine, low", "03-01 03-31 1; 08-21 09-20 1"),
];

/// The steps of a programme as its source prints them.
pub fn printed(name: &str) -> &'static str {
    PRINTED.iter().find(|(known, _)| *known == name).map_or("not printed", |(_, steps)| steps)
}
