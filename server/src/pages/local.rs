//! The clock at a place. A zone that this server does not know is told, and never passed off as another.

use domain::time::{Day, Instant, zone};
use jiff::tz::TimeZone;

use crate::store::settings::DateOrder;

/// The clock of a property or of the company.
#[derive(Debug)]
pub struct Local {
    zone: TimeZone,
    /// The name of a zone that is not known: days and times are then those of UTC, and may be a day off.
    pub unknown: Option<String>,
}

impl Local {
    pub fn of(name: &str) -> Self {
        match zone(name) {
            Ok(zone) => Self { zone, unknown: None },
            Err(_) => Self { zone: TimeZone::UTC, unknown: Some(name.to_owned()) },
        }
    }

    /// What to tell when the zone is not known.
    pub fn fault(&self) -> Option<String> {
        let name = self.unknown.as_ref()?;
        Some(format!(
            "The time zone “{name}” is not known to this server, so days and times here are those of UTC and may be a day off. Choose the zone again."
        ))
    }

    pub fn day(&self, at: Instant) -> Day {
        at.day_in(&self.zone)
    }

    /// The minute as people say it: 7:00 AM.
    pub fn time(&self, at: Instant) -> String {
        let (hour, minute) = self.clock(at);
        let half = if hour < 12 { "AM" } else { "PM" };
        format!("{}:{minute} {half}", (hour + 11) % 12 + 1)
    }

    /// The same as short as it can be said: a full hour with its half of the day, any other minute without.
    pub fn hour(&self, at: Instant) -> String {
        let time = self.time(at);
        match time.split_once(":00") {
            Some((hour, half)) => format!("{hour}{half}"),
            None => time.split(' ').next().unwrap_or_default().to_owned(),
        }
    }

    fn clock(&self, at: Instant) -> (u8, String) {
        let shown = at.local_minute(&self.zone);
        let (_, time) = shown.split_once(' ').unwrap_or_default();
        let (hour, minute) = time.split_once(':').unwrap_or_default();
        (hour.parse().unwrap_or_default(), minute.to_owned())
    }

    /// Day and minute as a clock there shows them, with the zone: a reader elsewhere, or in another season, is not to guess.
    pub fn minute(&self, at: Instant, dates: DateOrder) -> String {
        let shown = at.local_minute(&self.zone);
        let time = shown.split_once(' ').map_or("", |(_, time)| time);
        format!("{} {time} {}", dates.day(self.day(at)), at.zone_name(&self.zone))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_minute_is_said_as_people_say_it() {
        let local = Local::of("America/New_York");
        let said = |text: &str| {
            let at = Instant::parse(text).unwrap();
            (local.time(at), local.hour(at))
        };
        for (at, time, hour) in [
            ("2026-09-15T04:00:00Z", "12:00 AM", "12 AM"),
            ("2026-09-15T11:00:00Z", "7:00 AM", "7 AM"),
            ("2026-09-15T14:20:00Z", "10:20 AM", "10:20"),
            ("2026-09-15T16:00:00Z", "12:00 PM", "12 PM"),
            ("2026-09-15T23:59:00Z", "7:59 PM", "7:59"),
        ] {
            assert_eq!(said(at), (time.to_owned(), hour.to_owned()));
        }
    }

    #[test]
    fn a_zone_that_is_not_known_is_told() {
        let at = Instant::parse("2026-09-15T03:30:00Z").ok();
        let known = Local::of("America/New_York");
        let order = DateOrder::YearMonthDay;
        assert_eq!(
            (at.map(|at| known.minute(at, order)), known.fault()),
            (Some("2026-09-14 23:30 EDT".to_owned()), None)
        );
        let american = at.map(|at| known.minute(at, DateOrder::MonthDayYear));
        assert_eq!(american, Some("09/14/2026 23:30 EDT".to_owned()));
        let unknown = Local::of("America/Nowhere");
        assert_eq!(at.map(|at| unknown.minute(at, order)), Some("2026-09-15 03:30 UTC".to_owned()));
        assert!(unknown.fault().is_some_and(|words| words.contains("America/Nowhere") && words.contains("not known")));
    }
}
