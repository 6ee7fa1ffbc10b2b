//! The schedule that a plan follows: the steps of a published programme in a year, with what each still asks for.

use serde::{Deserialize, Serialize};

use super::{
    published::{Maintenance, Published, Step},
    timing::Credits,
};
use crate::{
    facts::PastApplication,
    law::month_day::{MonthDay, month_day},
    quantity::{NutrientRate, RateSum},
    time::Day,
};

/// What is taken off a schedule, which is printed for a lawn in full sun with clippings removed.
#[derive(Debug, Clone, Copy)]
pub struct Spared {
    pub credits: Credits,
    pub clippings_left: bool,
    pub shaded: bool,
}

/// A schedule in one year on one lawn.
#[derive(Debug, Clone)]
pub struct Frame {
    pub programme: &'static Published,
    pub level: Maintenance,
    /// The first day that is planned for.
    pub first: Day,
    pub steps: Vec<FrameStep>,
}

/// One application of it.
#[derive(Debug, Clone)]
pub struct FrameStep {
    pub step: &'static Step,
    pub from: Day,
    pub to: Day,
    /// What the level takes in it, credits taken off; nothing where the level leaves it out.
    pub wanted: NutrientRate,
    /// Less than this is not the application that the schedule speaks of, credits taken off.
    pub least: NutrientRate,
    /// Put down on these days already, or planned by visits. Rounded up.
    pub spent: NutrientRate,
    /// How it stands among the others: zero matters most.
    pub rank: usize,
}

impl FrameStep {
    /// What it still asks for.
    pub fn still(&self) -> NutrientRate {
        NutrientRate::from_raw((self.wanted.raw() - self.spent.raw()).max(0))
    }

    /// The least of an application in it that still counts as one.
    pub fn least_still(&self) -> NutrientRate {
        NutrientRate::from_raw((self.least.raw() - self.spent.raw()).max(0).min(self.still().raw()))
    }

    /// Its days, as a sentence calls them.
    pub fn days(&self) -> String {
        format!("{} to {}", month_day(self.step.from), month_day(self.step.to))
    }
}

/// A month and day in a year; February 29 is the last of February.
fn in_year(year: i16, (month, day): MonthDay) -> Option<Day> {
    Day::new(year, month, day).or_else(|_| Day::new(year, month, day - 1)).ok()
}

/// The steps of a year. What was put down or is planned by visits counts in the step on whose days it lies.
pub fn frame(
    programme: &'static Published,
    level: Maintenance,
    spared: Spared,
    (year, first): (i16, Day),
    past: &[PastApplication],
) -> Frame {
    let order = programme.by_importance();
    let rank = |at: usize| order.iter().position(|other| *other == at).unwrap_or(at);
    let off = |rate| spared.credits.off_rounded_down(rate, spared.clippings_left, spared.shaded);
    let steps = programme.steps.iter().enumerate().filter_map(|(at, step)| {
        let (from, to) = (in_year(year, step.from)?, in_year(year, step.to)?);
        let mut spent = RateSum::default();
        for past in past.iter().filter(|past| (from..=to).contains(&past.on)) {
            spent.add(past.nutrients.nitrogen_lb.raw(), past.area);
        }
        Some(FrameStep {
            step,
            from,
            to,
            wanted: off(step.at_level(level)),
            least: off(step.least()),
            spent: spent.rounded_up(),
            rank: rank(at),
        })
    });
    Frame { programme, level, first, steps: steps.collect() }
}

/// How a step of the schedule fares in a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum StepOutcome {
    /// All that it still asks for is planned.
    Planned,
    /// Some of it is.
    InPart,
    /// Nothing of it is.
    LeftOut,
    /// It was put down already, or visits for it stand.
    Done,
    /// Its days have been.
    Over,
    /// The source calls it optional, and the lawn's care level leaves it out.
    NotAtThisLevel,
}

/// A step of the schedule beside what is planned for it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct PlannedStep {
    pub from: Day,
    pub to: Day,
    /// The source calls it optional.
    pub optional: bool,
    /// What the schedule gives in it at the lawn's level, credits for clippings and shade taken off.
    pub wanted_lb_per_1000_sqft: NutrientRate,
    /// Put down on these days already, or planned by visits. Rounded up.
    pub spent_lb_per_1000_sqft: NutrientRate,
    /// Rounded down.
    pub planned_lb_per_1000_sqft: NutrientRate,
    /// What the schedule asks of the nitrogen's release; null where it says nothing of it.
    #[schema(max_length = 120)]
    pub release: Option<String>,
    pub outcome: StepOutcome,
    /// Why not all of it is planned: a rule with its citation, a round that is missing, or what else stands against it.
    #[schema(max_items = 20, value_type = Vec<crate::explain::Sentence>)]
    pub why: Vec<String>,
}
