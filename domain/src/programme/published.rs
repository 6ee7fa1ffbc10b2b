//! Season programmes as extension services print them: to plan from, and to hold a plan against.

use serde::{Deserialize, Serialize};

use crate::{explain::SourceMark, land::Species, law::month_day::MonthDay, quantity::NutrientRate, time::Day};

/// How much is made of a lawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Maintenance {
    Low,
    Medium,
    High,
}

impl Maintenance {
    /// How a sentence calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::Medium => "medium",
            Self::High => "high",
        }
    }
}

/// One application of a programme. Rates are nitrogen, in hundredths of a pound on 1,000 sq ft.
///
/// Where a source says early, middle or late in a month, days 1 to 10, 11 to 20 and 21 to the end are meant (*common
/// practice*; no source defines them).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    pub from: MonthDay,
    pub to: MonthDay,
    least: i64,
    most: i64,
    pub optional: bool,
}

/// A programme with its source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Published {
    pub name: &'static str,
    pub species: &'static [Species],
    pub steps: &'static [Step],
    /// What the source states as the most in a year, in hundredths of a pound.
    year_at_most: Option<i64>,
    pub source: &'static str,
    pub mark: SourceMark,
}

/// Why an application does not fit a programme.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Misfit {
    /// The programme has none on that day.
    NoStep,
    /// More than it gives on that day. A step that was missed is not made up by doubling the next.
    AboveStep,
    /// Together with what was put down the year would be above the programme's own maximum.
    AboveYear,
}

const fn step(from: MonthDay, to: MonthDay, least: i64, most: i64) -> Step {
    Step { from, to, least, most, optional: false }
}

const fn optional(from: MonthDay, to: MonthDay, least: i64, most: i64) -> Step {
    Step { from, to, least, most, optional: true }
}

const fn rate(hundredths: i64) -> NutrientRate {
    NutrientRate::from_raw(hundredths * 10_000)
}

impl Step {
    fn holds(&self, day: Day) -> bool {
        let today = (day.date().month(), day.date().day());
        (self.from..=self.to).contains(&today)
    }

    pub const fn least(&self) -> NutrientRate {
        rate(self.least)
    }

    pub const fn most(&self) -> NutrientRate {
        rate(self.most)
    }
}

impl Published {
    /// Most that all its steps give together.
    pub fn most(&self) -> NutrientRate {
        rate(self.steps.iter().map(|step| step.most).sum())
    }

    /// Most without the optional steps.
    pub fn most_without_optional(&self) -> NutrientRate {
        rate(self.steps.iter().filter(|step| !step.optional).map(|step| step.most).sum())
    }

    /// Least without the optional steps.
    pub fn least_without_optional(&self) -> NutrientRate {
        rate(self.steps.iter().filter(|step| !step.optional).map(|step| step.least).sum())
    }

    /// What the source states as the most in a year, if it states it.
    pub fn year_at_most(&self) -> Option<NutrientRate> {
        self.year_at_most.map(rate)
    }

    /// Nitrogen of the year at a level: low is the least that the steps give without the optional ones, medium the most
    /// without them, high the most with them, never above the source's own maximum. The sources print ranges and options;
    /// which of them a level takes is *common practice*.
    pub fn at_level(&self, level: Maintenance) -> NutrientRate {
        let steps = match level {
            Maintenance::Low => self.least_without_optional(),
            Maintenance::Medium => self.most_without_optional(),
            Maintenance::High => self.most(),
        };
        self.year_at_most().map_or(steps, |most| steps.min(most))
    }

    /// Whether so much nitrogen fits on a day, after so much earlier in the year.
    pub fn fits(&self, day: Day, nitrogen: NutrientRate, earlier: NutrientRate) -> Result<(), Misfit> {
        let mut steps = self.steps.iter().filter(|step| step.holds(day)).peekable();
        if steps.peek().is_none() {
            return Err(Misfit::NoStep);
        }
        if !steps.any(|step| nitrogen <= step.most()) {
            return Err(Misfit::AboveStep);
        }
        match self.year_at_most {
            Some(most) if nitrogen.raw() + earlier.raw() > rate(most).raw() => Err(Misfit::AboveYear),
            _ => Ok(()),
        }
    }
}

use Species::{
    Bahia, Bermuda, Centipede, FineFescue, KentuckyBluegrass, PerennialRyegrass, StAugustine, TallFescue, Zoysia,
};

const MARYLAND: &str = "University of Maryland Extension, Lawn Fertilizer Schedule";
const NORTH_CAROLINA: &str = "NC State, Caring for Your Lawn and the Environment, central Piedmont";

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
        &[optional((5, 1), (6, 10), 50, 90), step((9, 1), (9, 30), 70, 90), step((10, 1), (11, 15), 70, 90)],
        270,
    ),
    maryland(
        "Maryland, fine fescue",
        &[FineFescue],
        &[optional((5, 1), (6, 10), 50, 50), step((9, 1), (11, 15), 70, 90)],
        140,
    ),
    maryland("Maryland, zoysia", &[Zoysia], &[step((5, 1), (6, 10), 70, 90), optional((6, 11), (7, 31), 50, 90)], 180),
    maryland(
        "Maryland, bermuda",
        &[Bermuda],
        &[step((5, 1), (6, 10), 70, 90), step((6, 11), (7, 31), 70, 90), optional((8, 1), (8, 20), 50, 90)],
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
        species: &[TallFescue, KentuckyBluegrass, PerennialRyegrass],
        steps: &[
            optional((5, 1), (5, 31), 0, 50),
            step((9, 1), (9, 30), 50, 90),
            step((10, 1), (10, 31), 0, 90),
            step((11, 1), (11, 10), 0, 90),
        ],
        year_at_most: Some(350),
        source: "Virginia DCR, Urban Nutrient Management, fertilizer calculator",
        mark: SourceMark::Read,
    },
    Published {
        name: "Iowa, bluegrass, three applications",
        species: &[KentuckyBluegrass],
        steps: &[step((4, 1), (5, 31), 100, 100), step((9, 11), (9, 20), 100, 100), step((10, 21), (11, 10), 100, 100)],
        year_at_most: None,
        source: "Iowa State, How Often Should I Fertilize My Lawn?",
        mark: SourceMark::Read,
    },
    Published {
        name: "Iowa, bluegrass, two applications",
        species: &[KentuckyBluegrass],
        steps: &[step((9, 11), (9, 20), 100, 100), step((10, 21), (11, 10), 100, 100)],
        year_at_most: None,
        source: "Iowa State, How Often Should I Fertilize My Lawn?",
        mark: SourceMark::Read,
    },
    Published {
        name: "Iowa, bluegrass, one application",
        species: &[KentuckyBluegrass],
        steps: &[step((10, 21), (11, 10), 100, 100)],
        year_at_most: None,
        source: "Iowa State, How Often Should I Fertilize My Lawn?",
        mark: SourceMark::Read,
    },
    Published {
        name: "Kansas, cool-season, high",
        species: &[TallFescue, KentuckyBluegrass],
        steps: &[
            step((5, 1), (5, 31), 100, 100),
            optional((6, 11), (7, 10), 50, 50),
            step((9, 1), (9, 30), 100, 100),
            step((11, 1), (11, 30), 100, 150),
        ],
        year_at_most: Some(400),
        source: "Kansas State, Fertilize at the Right Time, read in a newspaper",
        mark: SourceMark::Read2,
    },
    Published {
        name: "Washington State, east side",
        species: &[KentuckyBluegrass, PerennialRyegrass],
        steps: &[
            step((5, 1), (5, 31), 100, 100),
            step((6, 1), (6, 30), 100, 100),
            step((9, 1), (9, 30), 100, 100),
            step((11, 1), (11, 15), 100, 100),
        ],
        year_at_most: Some(400),
        source: "Washington State extension column, read in a newspaper: a missed application is not doubled",
        mark: SourceMark::Read2,
    },
];

/// A programme by its name.
pub fn published(name: &str) -> Option<&'static Published> {
    PUBLISHED.iter().find(|programme| programme.name == name)
}
