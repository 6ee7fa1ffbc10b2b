//! What was in stock, day by day, back to the oldest movement that is shown.

use std::fmt::Write;

use askama::Template;
use domain::{quantity::StockBalance, time::Day};

use super::place;
use crate::{
    pages::figures,
    store::{settings::DateOrder, stock::StockMovement},
};

const WIDTH: i64 = 480;
const HEIGHT: i64 = 80;

/// The picture of one product.
#[derive(Debug, Template)]
#[template(path = "picture_stock.html")]
pub struct StockLine {
    /// The line, as the picture writes it.
    line: String,
    /// The height of nothing in stock, and of what is there now.
    nothing: i64,
    now: i64,
    shown: String,
    from: String,
    until: String,
    words: String,
}

impl StockLine {
    /// From what is there today backwards. Nothing where nothing moved.
    pub fn of(movements: &[StockMovement], balance: StockBalance, today: Day, dates: DateOrder) -> Option<Self> {
        let mut moved: Vec<(Day, i64)> = movements.iter().map(|one| (one.moved_on, one.mass_lb.raw())).collect();
        moved.sort_by_key(|(day, _)| *day);
        let (from, until) = (moved.first()?.0, today.max(moved.last()?.0).plus_days(1));
        let before = balance.raw() - moved.iter().map(|(_, mass)| mass).sum::<i64>();
        // What stood after each movement.
        let stood = moved.iter().scan(before, |stood, (day, mass)| {
            *stood += mass;
            Some((*day, *stood))
        });
        let stood: Vec<(Day, i64)> = stood.collect();
        let all = stood.iter().map(|(_, stood)| *stood).chain([before, 0]);
        let (lowest, highest) = (all.clone().min()?, all.max()?);
        let up = |value: i64| HEIGHT - place(value - lowest, highest - lowest, HEIGHT);
        let days = i64::from(until.days_since(from));
        let along = |day: Day| place(i64::from(day.days_since(from)), days, WIDTH);
        let mut line = format!("M0 {}", up(before));
        for (day, stood) in &stood {
            let _ = write!(line, "H{}V{}", along(*day), up(*stood));
        }
        let _ = write!(line, "H{WIDTH}");
        let shown = format!("{} lb", figures::pounds(&balance).shown);
        let words = format!("In stock from {} to {}: {shown} now", dates.day(from), dates.day(today));
        let (from, until) = (dates.day(from), dates.day(today));
        Some(Self { line, nothing: up(0), now: up(balance.raw()), shown, from, until, words })
    }
}
