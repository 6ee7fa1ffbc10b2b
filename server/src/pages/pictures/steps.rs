//! A section's year as a line of steps: each application lifts it by what it put down, towards the cap.

use std::fmt::Write;

use askama::Template;
use domain::{quantity::NutrientRate, time::Day};

use super::place;
use crate::{book::statement::SectionStatement, pages::figures, store::settings::DateOrder};

/// Units of the ground that is drawn on; text stands outside of it.
const WIDTH: i64 = 480;
const HEIGHT: i64 = 96;
/// Of a hundred, how far up the higher of cap and sum lies.
const TOP: i64 = 88;

/// The picture of one section.
#[derive(Debug, Template)]
#[template(path = "picture_steps.html")]
pub struct YearSteps {
    months: Vec<(i64, &'static str)>,
    /// The height of the cap, and its figure.
    cap: Option<(i64, String)>,
    /// The line, as the picture writes it.
    line: String,
    steps: Vec<Step>,
    words: String,
}

#[derive(Debug)]
struct Step {
    x: i64,
    y: i64,
    words: String,
}

impl YearSteps {
    /// From the year's first day until a day in it. Nothing where nothing was put down, and where parts were treated apart: what lies upon one another is no single line.
    pub fn of(section: &SectionStatement, (from, until): (Day, Day), dates: DateOrder) -> Option<Self> {
        if section.lines.is_empty() || !section.pieces.is_empty() {
            return None;
        }
        let limit = section.cap.as_ref().map(|cap| cap.limit_lb_per_1000_sqft);
        let all: i64 = section.lines.iter().map(|line| line.nitrogen_lb_per_1000_sqft.raw()).sum();
        let highest = all.max(limit.map_or(0, NutrientRate::raw));
        let up = |value: i64| HEIGHT - place(value, highest.saturating_mul(100) / TOP, HEIGHT);
        let days = i64::from(from.last_of_year().days_since(from)) + 1;
        let along = |day: Day| place(i64::from(day.days_since(from)), days, WIDTH);
        let mut lines: Vec<_> = section.lines.iter().collect();
        lines.sort_by_key(|line| line.applied_on);
        let (mut sum, mut line, mut steps) = (0, format!("M0 {HEIGHT}"), Vec::new());
        for one in lines {
            sum += one.nitrogen_lb_per_1000_sqft.raw();
            let (x, y) = (along(one.applied_on), up(sum));
            let _ = write!(line, "H{x}V{y}");
            let words = format!(
                "{}: {} lb N per 1,000 sq ft, {}",
                dates.day(one.applied_on),
                figures::rate(&one.nitrogen_lb_per_1000_sqft).shown,
                one.product_name
            );
            steps.push(Step { x, y, words });
        }
        let _ = write!(line, "H{}", along(until.plus_days(1)));
        let sum = figures::rate_against(&NutrientRate::from_raw(sum), limit.as_ref()).shown;
        let mut words = format!("{sum} lb N per 1,000 sq ft in {}", counted(section.lines.len()));
        if let Some(limit) = &limit {
            words = format!("{words}; the cap is {}", figures::limit(limit).shown);
        }
        Some(Self {
            months: months(from).map(|(day, name)| (along(day), name)).collect(),
            cap: limit.map(|limit| (up(limit.raw()), format!("cap {}", figures::limit(&limit).shown))),
            line,
            steps,
            words,
        })
    }
}

fn counted(applications: usize) -> String {
    if applications == 1 { "1 application".to_owned() } else { format!("{applications} applications") }
}

/// The first day of each month, and its name.
fn months(from: Day) -> impl Iterator<Item = (Day, &'static str)> {
    super::MONTHS.into_iter().scan(from, |first, name| {
        let this = *first;
        *first = first.plus_months(1);
        Some((this, name))
    })
}
