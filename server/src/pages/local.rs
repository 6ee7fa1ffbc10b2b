//! The clock at a place. A zone that this server does not know is told, and never passed off as another.

use domain::time::{Day, Instant, zone};
use jiff::tz::TimeZone;

/// The clock of a property or of the company.
#[derive(Debug)]
pub struct Local {
    zone: TimeZone,
    /// What to tell when the zone is not known: days and times are then those of UTC, and may be a day off.
    pub fault: Option<String>,
}

impl Local {
    pub fn of(name: &str) -> Self {
        match zone(name) {
            Ok(zone) => Self { zone, fault: None },
            Err(_) => Self {
                zone: TimeZone::UTC,
                fault: Some(format!(
                    "The time zone “{name}” is not known to this server, so days and times here are those of UTC and may be a day off. Choose the zone again."
                )),
            },
        }
    }

    pub fn day(&self, at: Instant) -> Day {
        at.day_in(&self.zone)
    }

    /// Day and minute as a clock there shows them; marked when it is not the clock of the place.
    pub fn minute(&self, at: Instant) -> String {
        let shown = at.local_minute(&self.zone);
        if self.fault.is_some() { format!("{shown} UTC") } else { shown }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_zone_that_is_not_known_is_told() {
        let at = Instant::parse("2026-09-15T03:30:00Z").ok();
        let known = Local::of("America/New_York");
        assert_eq!((at.map(|at| known.minute(at)), &known.fault), (Some("2026-09-14 23:30".to_owned()), &None));
        let unknown = Local::of("America/Nowhere");
        assert_eq!(at.map(|at| unknown.minute(at)), Some("2026-09-15 03:30 UTC".to_owned()));
        assert!(unknown.fault.is_some_and(|words| words.contains("America/Nowhere") && words.contains("not known")));
    }
}
