//! The season as a calendar: from when to when it goes, and the days on which nothing may go down.

use domain::{
    ids::ProductId,
    programme::{
        PlanProduct,
        open_days::{ClosedDays, closed_days},
    },
    time::Day,
};

use super::{NotPlanned, Season};
use crate::store::programmes::{Programme, lawns::Lawn};

/// The year of the season, and what of its last round lies in the next one.
pub fn span(programme: &Programme) -> (Day, Day) {
    let year = i16::try_from(programme.season_year).unwrap_or_default();
    let first = Day::new(year, 1, 1).unwrap_or(Day::FIRST);
    let last = programme.rounds.iter().map(|round| round.to).max().unwrap_or(first).max(first.last_of_year());
    // To the end of a month, because that is where a calendar ends.
    let ends_month = |day: &Day| day.plus_days(1).date().day() == 1;
    (first, (0..31).map(|days| last.plus_days(days)).find(ends_month).unwrap_or(last))
}

impl Season {
    /// The closed days of a section from the first day that is planned for to the end of the calendar. `offered` are the products.
    pub fn closed_days(
        &self,
        lawn: &Lawn,
        offered: &[(ProductId, PlanProduct)],
    ) -> Result<Vec<ClosedDays>, NotPlanned> {
        let asked = self.ask(lawn, offered)?;
        let (first, last) = span(&self.programme);
        Ok(asked.with(|question| closed_days(&self.law, question, (asked.from.max(first), last))))
    }
}
