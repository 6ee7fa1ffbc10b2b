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
