//! How old what a service said may be before it is worth less.

use serde::{Deserialize, Serialize};

use crate::time::Instant;

/// What the age of a service's word is worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AgeClass {
    /// Fetched within the hour, made within eight.
    Fresh,
    /// Fetched within three hours, made within twelve: worth another look.
    Ageing,
    /// Fetched within a day: it can show that work must stop.
    Stale,
    /// Older, or of a later time than now: as if there were none.
    Useless,
}

/// Clocks may differ by so much before a time that lies ahead is not believed.
const AHEAD_MINUTES: i64 = -10;
/// Stations report hourly, some minutes late. *Common practice.*
pub const OBSERVATION_MINUTES: i64 = 75;
/// A forecast that was fetched longer ago is worth another look.
pub const FRESH_MINUTES: i64 = 60;
/// A list of watches and warnings older than this says nothing about now.
pub const ALERTS_MINUTES: i64 = 30;

impl AgeClass {
    /// The worse of two clocks: how long ago this server fetched it, and how long ago it was made. A service may serve a
    /// forecast of days ago as if it were new, so the second never comes from the headers of the answer.
    pub fn of(now: Instant, fetched_at: Instant, issued_at: Option<Instant>) -> Self {
        let fetched = now.since(fetched_at).as_mins();
        let by_fetch = match fetched {
            AHEAD_MINUTES..=FRESH_MINUTES => Self::Fresh,
            61..=180 => Self::Ageing,
            181..=1_440 => Self::Stale,
            _ => Self::Useless,
        };
        // The second service never says when it was made, so the time of fetching is the only age there is.
        let by_issue = issued_at.map_or(Self::Fresh, |issued| match now.since(issued).as_mins() {
            ..AHEAD_MINUTES => Self::Useless,
            AHEAD_MINUTES..=480 => Self::Fresh,
            481..=720 => Self::Ageing,
            721.. => Self::Stale,
        });
        by_fetch.max(by_issue)
    }
}

#[cfg(test)]
mod tests {
    use jiff::SignedDuration;

    use super::*;

    #[test]
    fn the_worse_of_both_clocks_counts() {
        let now = Instant::parse("2026-06-18T14:20:00Z").expect("an instant");
        let ago = |minutes: i64| now.plus(SignedDuration::from_mins(-minutes));
        let class = |fetched, issued| AgeClass::of(now, ago(fetched), Some(ago(issued)));
        assert_eq!(class(60, 480), AgeClass::Fresh);
        assert_eq!(class(61, 480), AgeClass::Ageing);
        assert_eq!(class(60, 481), AgeClass::Ageing);
        assert_eq!(class(0, 721), AgeClass::Stale, "fetched this minute, made yesterday");
        assert_eq!(class(180, 720), AgeClass::Ageing);
        assert_eq!(class(181, 0), AgeClass::Stale);
        assert_eq!(class(1_440, 0), AgeClass::Stale);
        assert_eq!(class(1_441, 0), AgeClass::Useless);
        assert_eq!(class(0, 88 * 60), AgeClass::Stale, "an 88-hour-old forecast was once served with 200");
        assert_eq!(class(0, -11), AgeClass::Useless, "made in the future");
        assert_eq!(class(-10, -10), AgeClass::Fresh);
        assert_eq!(class(-11, 0), AgeClass::Useless);
    }
}
