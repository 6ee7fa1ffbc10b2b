//! Season programmes as extension services print them: to plan from, and to hold a plan against.

use serde::{Deserialize, Serialize};

use crate::{
    explain::SourceMark, land::Species, law::month_day::MonthDay, product::Label, quantity::NutrientRate, time::Day,
};

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

/// What a schedule asks of the nitrogen's release.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Release {
    /// It says nothing of it.
    Any,
    /// At least this much of the nitrogen is slow, in percent.
    SlowAtLeast(i64),
    /// With less slow nitrogen than this percent, no more than so much, in hundredths of a pound on 1,000 sq ft.
    QuickAtMost(i64, i64),
    /// Soluble: no more than this much of it slow, in percent.
    SlowAtMost(i64),
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
    pub release: Release,
}

/// A programme with its source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Published {
    pub name: &'static str,
    pub species: &'static [Species],
    pub steps: &'static [Step],
    /// What the source states as the most in a year, in hundredths of a pound.
    pub(super) year_at_most: Option<i64>,
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

pub(super) const fn step(from: MonthDay, to: MonthDay, least: i64, most: i64) -> Step {
    Step { from, to, least, most, optional: false, release: Release::Any }
}

pub(super) const fn optional(from: MonthDay, to: MonthDay, least: i64, most: i64) -> Step {
    Step { optional: true, ..step(from, to, least, most) }
}

/// A step that asks something of the nitrogen's release.
pub(super) const fn released(release: Release, step: Step) -> Step {
    Step { release, ..step }
}

/// Steps of cool-season grass from this month on are autumn's.
const MIDSUMMER: i8 = 8;

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

    /// The most that this product may bring in it; nothing when the step is not for such a product.
    pub fn most_for(&self, label: &Label) -> Option<NutrientRate> {
        let (slow, all) = (label.slow_nitrogen_percent.raw() * 100, label.nitrogen_percent.raw());
        match self.release {
            Release::SlowAtLeast(percent) if slow < percent * all => None,
            Release::SlowAtMost(percent) if slow > percent * all => None,
            Release::QuickAtMost(percent, most) if slow < percent * all => Some(rate(most.min(self.most))),
            _ => Some(self.most()),
        }
    }

    /// What it asks of the release, in words; nothing where it says nothing.
    pub fn release_words(&self) -> Option<String> {
        match self.release {
            Release::Any => None,
            Release::SlowAtLeast(percent) => Some(format!("at least {percent} % of the nitrogen slow")),
            Release::SlowAtMost(percent) => Some(format!("soluble: at most {percent} % of the nitrogen slow")),
            Release::QuickAtMost(percent, most) => {
                Some(format!("with less than {percent} % of the nitrogen slow at most {} lb", rate(most)))
            }
        }
    }

    /// Nitrogen that a level takes in it: low the least of the steps that the source does not call optional, medium their most,
    /// high the most of all steps. The sources print ranges and options; which of them a level takes is *common practice*.
    pub fn at_level(&self, level: Maintenance) -> NutrientRate {
        match (level, self.optional) {
            (Maintenance::Low | Maintenance::Medium, true) => NutrientRate::ZERO,
            (Maintenance::Low, false) => self.least(),
            (Maintenance::Medium, false) | (Maintenance::High, _) => self.most(),
        }
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

    /// Nitrogen of the year at a level, as its steps take it, never above the source's own maximum.
    pub fn at_level(&self, level: Maintenance) -> NutrientRate {
        let steps = NutrientRate::from_raw(self.steps.iter().map(|step| step.at_level(level).raw()).sum());
        self.year_at_most().map_or(steps, |most| steps.min(most))
    }

    /// The order in which its steps matter, the most important first: those that are not optional, and for cool-season grass
    /// autumn before spring (Kansas State, read in a newspaper: September, November, then May).
    pub fn by_importance(&self) -> Vec<usize> {
        let cool = self.species.iter().any(|species| species.is_cool_season());
        let mut order: Vec<usize> = (0..self.steps.len()).collect();
        order.sort_by_key(|at| {
            self.steps.get(*at).map(|step| (step.optional, cool && step.from.0 < MIDSUMMER, step.from))
        });
        order
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
