//! Days and instants as this system writes them. The caller says what day and what time it is; nothing here asks.

use std::fmt;

use jiff::{SignedDuration, Span, Timestamp, civil::Date, tz::TimeZone};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A local calendar day, `2026-11-25`. The day of application decides which law applies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Day(Date);

/// A moment, to the millisecond, written in UTC: `2026-11-25T10:00:00.000Z`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Instant(Timestamp);

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BadTime {
    #[error("must be a calendar day such as 2026-11-25, from 1990 to 2199")]
    Day,
    #[error(
        "must be a moment with its offset, such as 2026-11-25T10:00:00-05:00 or 2026-11-25T15:00:00Z, from 1990 to 2199"
    )]
    Instant,
    #[error("must be an IANA time zone such as America/New_York")]
    Zone,
}

pub const DAY_PATTERN: &str = "^(199[0-9]|2[01][0-9]{2})-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$";
pub const INSTANT_PATTERN: &str = "^(199[0-9]|2[01][0-9]{2})-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])T([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9](\\.[0-9]{1,9})?(Z|[+-]([01][0-9]|2[0-3]):[0-5][0-9])$";

impl Day {
    /// The first day that there is here.
    pub const FIRST: Self = Self(Date::constant(1990, 1, 1));

    pub fn new(year: i16, month: i8, day: i8) -> Result<Self, BadTime> {
        Date::new(year, month, day).map_err(|_| BadTime::Day).and_then(Self::in_range)
    }

    /// Reads exactly `YYYY-MM-DD`: jiff alone would also take `20261125` and more.
    pub fn parse(text: &str) -> Result<Self, BadTime> {
        let shaped = text.len() == 10
            && text.bytes().enumerate().all(|(at, b)| if at == 4 || at == 7 { b == b'-' } else { b.is_ascii_digit() });
        if !shaped {
            return Err(BadTime::Day);
        }
        text.parse().map_err(|_| BadTime::Day).and_then(Self::in_range)
    }

    fn in_range(date: Date) -> Result<Self, BadTime> {
        if (1990..=2199).contains(&date.year()) { Ok(Self(date)) } else { Err(BadTime::Day) }
    }

    pub const fn date(self) -> Date {
        self.0
    }

    pub fn year(self) -> i16 {
        self.0.year()
    }

    #[must_use]
    pub fn first_of_year(self) -> Self {
        Self(self.0.first_of_year())
    }

    #[must_use]
    pub fn last_of_year(self) -> Self {
        Self(self.0.last_of_year())
    }

    /// The day so many days later, or earlier when negative; saturates at the ends of the calendar.
    #[must_use]
    pub fn plus_days(self, days: i32) -> Self {
        Self(self.0.saturating_add(Span::new().days(days)))
    }

    /// The day so many calendar months earlier; the 31st becomes the last day of a shorter month.
    #[must_use]
    pub fn minus_months(self, months: i32) -> Self {
        Self(self.0.saturating_sub(Span::new().months(months)))
    }

    /// The day so many calendar months later; the 31st becomes the last day of a shorter month.
    #[must_use]
    pub fn plus_months(self, months: i32) -> Self {
        Self(self.0.saturating_add(Span::new().months(months)))
    }

    /// Whole days from `earlier` to this day.
    pub fn days_since(self, earlier: Self) -> i32 {
        self.0.duration_since(earlier.0).as_hours().try_into().map_or(i32::MAX, |hours: i32| hours / 24)
    }

    /// The instant at which this day begins in a zone.
    pub fn starts_at(self, zone: &TimeZone) -> Instant {
        self.0.to_zoned_datetime(zone.clone()).map_or(Instant(Timestamp::MAX), |zoned| Instant(zoned.timestamp()))
    }
}

impl Instant {
    /// Reads RFC 3339 and no more: jiff alone would also take a space for the `T`, a 60th second and a zone in brackets.
    pub fn parse(text: &str) -> Result<Self, BadTime> {
        let (Some(date), Some(rest)) = (text.get(..10), text.get(10..)) else { return Err(BadTime::Instant) };
        Day::parse(date).map_err(|_| BadTime::Instant)?;
        let shaped = rest.starts_with('T')
            && rest.get(1..9).is_some_and(|clock| {
                clock.bytes().enumerate().all(|(at, b)| if at == 2 || at == 5 { b == b':' } else { b.is_ascii_digit() })
            })
            && rest.get(7..9).is_some_and(|seconds| seconds != "60")
            && rest
                .get(9..)
                .is_some_and(|tail| (tail.ends_with('Z') || tail.len() >= 6) && !tail.contains(['[', ',', ' ', 'z']));
        if !shaped {
            return Err(BadTime::Instant);
        }
        let read: Timestamp = text.parse().map_err(|_| BadTime::Instant)?;
        let read = Self::from_millis(read.as_millisecond()).ok_or(BadTime::Instant)?;
        // An offset can carry the first and the last hours of these years into another one, and it is answered in UTC.
        Day::in_range(read.day_in(&TimeZone::UTC).0).map_or(Err(BadTime::Instant), |_| Ok(read))
    }

    /// Milliseconds since 1970, as stored.
    pub fn from_millis(millis: i64) -> Option<Self> {
        Timestamp::from_millisecond(millis).ok().map(Self)
    }

    pub fn millis(self) -> i64 {
        self.0.as_millisecond()
    }

    /// The civil day of this moment in a zone.
    pub fn day_in(self, zone: &TimeZone) -> Day {
        Day(self.0.to_zoned_datetime(zone.clone()).date())
    }

    /// Day and minute as a clock at a place shows them: `2026-09-15 10:05`.
    pub fn local_minute(self, zone: &TimeZone) -> String {
        self.0.to_zoned_datetime(zone.clone()).strftime("%Y-%m-%d %H:%M").to_string()
    }

    /// What the clocks of a zone are called at this moment, such as `EDT`.
    pub fn zone_name(self, zone: &TimeZone) -> String {
        self.0.to_zoned_datetime(zone.clone()).strftime("%Z").to_string()
    }

    #[must_use]
    pub fn plus(self, duration: SignedDuration) -> Self {
        Self(self.0.saturating_add(duration).unwrap_or(Timestamp::MAX))
    }

    /// Time from `earlier` to this moment; negative if it lies later.
    pub fn since(self, earlier: Self) -> SignedDuration {
        self.0.duration_since(earlier.0)
    }
}

/// A zone by its IANA name, as written on a property.
pub fn zone(name: &str) -> Result<TimeZone, BadTime> {
    TimeZone::get(name).map_err(|_| BadTime::Zone)
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0.to_string())
    }
}

impl fmt::Display for Instant {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.3}", self.0)
    }
}

impl Serialize for Day {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Day {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(deserializer)?;
        Self::parse(&text).map_err(serde::de::Error::custom)
    }
}

impl Serialize for Instant {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Instant {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(deserializer)?;
        Self::parse(&text).map_err(serde::de::Error::custom)
    }
}

fn schema(
    format: utoipa::openapi::schema::KnownFormat,
    about: &str,
    pattern: &str,
    longest: usize,
    example: &str,
) -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
    utoipa::openapi::ObjectBuilder::new()
        .schema_type(utoipa::openapi::schema::Type::String)
        .format(Some(utoipa::openapi::schema::SchemaFormat::KnownFormat(format)))
        .description(Some(about))
        .pattern(Some(pattern))
        .max_length(Some(longest))
        .examples([example])
        .into()
}

impl utoipa::PartialSchema for Day {
    fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
        let format = utoipa::openapi::schema::KnownFormat::Date;
        schema(format, "A local calendar day, from 1990 to 2199.", DAY_PATTERN, 10, "2026-09-15")
    }
}

impl utoipa::ToSchema for Day {}

impl utoipa::PartialSchema for Instant {
    fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
        let format = utoipa::openapi::schema::KnownFormat::DateTime;
        let about = "A moment with its offset from UTC (RFC 3339), kept to the millisecond; answered in UTC.";
        schema(format, about, INSTANT_PATTERN, 35, "2026-09-15T14:30:00.000Z")
    }
}

impl utoipa::ToSchema for Instant {}

/// How a document describes days and moments that were worked out from entered ones: they may lie beyond those that can be
/// entered.
pub mod reckoned {
    #[derive(Debug)]
    pub struct ComputedDay;

    #[derive(Debug)]
    pub struct ComputedInstant;

    const DAY_PATTERN: &str = "^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$";
    const INSTANT_PATTERN: &str =
        "^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])T([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9]\\.[0-9]{3}Z$";

    impl utoipa::PartialSchema for ComputedDay {
        fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
            let format = utoipa::openapi::schema::KnownFormat::Date;
            let about = "A local calendar day that was worked out; it may lie beyond those that can be entered.";
            super::schema(format, about, DAY_PATTERN, 10, "2029-09-15")
        }
    }

    impl utoipa::ToSchema for ComputedDay {}

    impl utoipa::PartialSchema for ComputedInstant {
        fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
            let format = utoipa::openapi::schema::KnownFormat::DateTime;
            let about = "A moment in UTC that was worked out; it may lie beyond those that can be entered.";
            super::schema(format, about, INSTANT_PATTERN, 24, "2026-09-15T14:00:00.000Z")
        }
    }

    impl utoipa::ToSchema for ComputedInstant {}
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_written_shapes_are_read() {
        for text in
            ["20260228", "2026-2-28", "2026-02-30", "1989-12-31", "2200-01-01", "2026-02-28T00:00:00", " 2026-02-28"]
        {
            assert_eq!(Day::parse(text), Err(BadTime::Day), "{text:?}");
        }
        for text in [
            "2026-02-28T10:00:00",
            "2026-02-28 10:00:00Z",
            "2026-02-28T10:00:60Z",
            "2026-02-28T10:00:00z",
            "2026-02-28T10:00Z",
            "2026-02-28T10:00:00Z[America/Chicago]",
            "2026-02-30T10:00:00Z",
            "2199-12-31T23:00:00-05:00",
            "1990-01-01T00:00:00+05:00",
        ] {
            assert_eq!(Instant::parse(text), Err(BadTime::Instant), "{text:?}");
        }
    }

    #[test]
    fn a_moment_is_printed_in_utc_with_milliseconds() {
        let printed = |text| Instant::parse(text).map(|at| at.to_string());
        assert_eq!(printed("2026-09-15T10:30:00-04:00").as_deref(), Ok("2026-09-15T14:30:00.000Z"));
        assert_eq!(printed("2026-09-15T10:30:00.1239+14:00").as_deref(), Ok("2026-09-14T20:30:00.123Z"));
    }

    #[test]
    fn the_last_evening_of_the_year_counts_in_the_old_year() {
        let zone = zone("America/New_York").expect("bundled zone");
        let late = Instant::parse("2027-01-01T04:30:00Z").expect("an instant");
        assert_eq!(late.day_in(&zone).to_string(), "2026-12-31");
    }

    #[test]
    fn months_are_calendar_months() {
        let day = |text| Day::parse(text).expect("a day");
        assert_eq!(day("2026-03-31").minus_months(1), day("2026-02-28"));
        assert_eq!(day("2024-02-29").minus_months(36), day("2021-02-28"));
        assert_eq!(day("2026-03-01").days_since(day("2026-02-27")), 2);
    }
}
