//! Values over time as services write them: intervals with a value each, half-open, with holes.

use jiff::{SignedDuration, tz::TimeZone};

use super::value::Billionths;
use crate::{
    quantity::Percent,
    time::{Day, Instant},
};

/// From a moment to another, which is no longer part of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    pub start: Instant,
    pub end: Instant,
}

/// One interval of a series; nothing when the service wrote `null`, or what no weather brings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Piece {
    pub span: Span,
    pub value: Option<Billionths>,
}

/// Intervals in their order, none over another.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Series(Vec<Piece>);

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SeriesFault {
    #[error("\"{0}\" is no interval that this server reads")]
    Interval(String),
    #[error("its intervals overlap or are out of order")]
    Overlap,
}

/// How much of a span has a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Coverage {
    /// Milliseconds, or whatever else is counted out of a whole.
    pub covered: i64,
    pub whole: i64,
}

/// An amount that fell or falls in a span. Intervals cut by the span's edges are counted by their share, wholly, or not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Total {
    pub best: Billionths,
    pub upper: Billionths,
    pub lower: Billionths,
    pub coverage: Coverage,
}

impl Span {
    /// `start/duration` and `start/end`, all in UTC, so that a day is 24 hours. Months and years have no fixed length and are
    /// refused, and so is what has no beginning.
    pub fn parse(text: &str) -> Result<Self, SeriesFault> {
        let fault = || SeriesFault::Interval(text.chars().take(60).collect());
        let (start, rest) = text.split_once('/').ok_or_else(fault)?;
        let start = Instant::parse(start).map_err(|_| fault())?;
        let end = match rest.strip_prefix('P') {
            Some(duration) => start.plus(SignedDuration::from_secs(seconds(duration).ok_or_else(fault)?)),
            None => Instant::parse(rest).map_err(|_| fault())?,
        };
        if end > start { Ok(Self { start, end }) } else { Err(fault()) }
    }

    pub fn hours_from(start: Instant, hours: i64) -> Self {
        Self { start, end: start.plus(SignedDuration::from_hours(hours)) }
    }

    /// A whole local day: 23, 24 or 25 hours.
    pub fn of_day(day: Day, zone: &TimeZone) -> Self {
        Self { start: day.starts_at(zone), end: day.plus_days(1).starts_at(zone) }
    }

    /// From one local clock time to another on a day. A beginning that comes twice is the first of the two and an end the
    /// second; what the clock leaps over is taken at the leap's wider side. So nothing that happens in the span is lost.
    pub fn of_clock(day: Day, from: jiff::civil::Time, to: jiff::civil::Time, zone: &TimeZone) -> Option<Self> {
        let at = |time: jiff::civil::Time| zone.to_ambiguous_timestamp(day.date().to_datetime(time));
        let start = Instant::from_millis(at(from).earlier().ok()?.as_millisecond())?;
        let end = Instant::from_millis(at(to).later().ok()?.as_millisecond())?;
        (end > start).then_some(Self { start, end })
    }

    pub fn seconds(self) -> i64 {
        self.millis() / 1000
    }

    pub fn millis(self) -> i64 {
        self.end.millis() - self.start.millis()
    }

    /// Milliseconds that two spans share. Moments fall within seconds, so that counting those would leave gaps that are none.
    pub fn overlap(self, other: Self) -> i64 {
        (self.end.min(other.end).millis() - self.start.max(other.start).millis()).max(0)
    }
}

/// Seconds of an ISO 8601 duration behind its `P`: weeks, days, hours, minutes, seconds, each once and in order.
fn seconds(duration: &str) -> Option<i64> {
    let (mut total, mut number, mut in_time, mut parts, mut last) = (0_i64, String::new(), false, 0, 0);
    for letter in duration.chars() {
        let (rank, unit) = match (letter, in_time) {
            ('0'..='9', _) => {
                number.push(letter);
                continue;
            }
            ('T', false) if number.is_empty() => {
                in_time = true;
                continue;
            }
            ('W', false) => (1, 7 * 86_400),
            ('D', false) => (2, 86_400),
            ('H', true) => (3, 3_600),
            ('M', true) => (4, 60),
            ('S', true) => (5, 1),
            _ => return None,
        };
        if rank <= last {
            return None;
        }
        total = total.checked_add(number.parse::<i64>().ok()?.checked_mul(unit)?)?;
        number.clear();
        (last, parts) = (rank, parts + 1);
    }
    (parts > 0 && number.is_empty() && !duration.ends_with('T')).then_some(total).filter(|total| *total <= 366 * 86_400)
}

impl Coverage {
    pub const fn is_whole(self) -> bool {
        self.covered >= self.whole
    }

    /// Ten-thousandths, to the nearest; all of them only when nothing is missing.
    pub fn ten_thousandths(self) -> i64 {
        if self.is_whole() {
            return 10_000;
        }
        let nearest = (self.covered * 20_000 + self.whole) / (2 * self.whole.max(1));
        nearest.min(9_999)
    }

    pub fn percent(self) -> Percent {
        Percent::from_raw(self.ten_thousandths())
    }
}

impl Series {
    pub fn new(pieces: Vec<Piece>) -> Result<Self, SeriesFault> {
        let ordered = pieces.windows(2).all(|pair| match pair {
            [first, second] => first.span.end <= second.span.start,
            _ => true,
        });
        if ordered { Ok(Self(pieces)) } else { Err(SeriesFault::Overlap) }
    }

    pub fn pieces(&self) -> &[Piece] {
        &self.0
    }

    /// The end of the last interval that has a value.
    pub fn ends_at(&self) -> Option<Instant> {
        self.0.iter().rev().find(|piece| piece.value.is_some()).map(|piece| piece.span.end)
    }

    fn within(&self, window: Span) -> impl Iterator<Item = (Piece, Billionths, i64)> + '_ {
        self.0.iter().filter_map(move |piece| {
            let overlap = piece.span.overlap(window);
            piece.value.filter(|_| overlap > 0).map(|value| (*piece, value, overlap))
        })
    }

    pub fn coverage(&self, window: Span) -> Coverage {
        let covered = self.within(window).map(|(_, _, overlap)| overlap).sum();
        Coverage { covered, whole: window.millis() }
    }

    /// The greatest value of any interval that reaches into the window, and how much of the window has one.
    pub fn greatest(&self, window: Span) -> (Option<Billionths>, Coverage) {
        (self.within(window).map(|(_, value, _)| value).max(), self.coverage(window))
    }

    /// The least value of any interval that reaches into the window.
    pub fn least(&self, window: Span) -> (Option<Billionths>, Coverage) {
        (self.within(window).map(|(_, value, _)| value).min(), self.coverage(window))
    }

    /// The total of a series whose values are amounts over their intervals, such as rain. Nothing of what lies before the
    /// window is counted: series begin in the past.
    pub fn total(&self, window: Span) -> Total {
        let zero = Billionths::from_raw(0);
        let mut total = Total { best: zero, upper: zero, lower: zero, coverage: self.coverage(window) };
        for (piece, value, overlap) in self.within(window) {
            total.best = total.best.plus(value.share(overlap, piece.span.millis()));
            total.upper = total.upper.plus(value);
            if overlap == piece.span.millis() {
                total.lower = total.lower.plus(value);
            }
        }
        total
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn instant(text: &str) -> Instant {
        Instant::parse(text).expect("an instant")
    }

    fn hours(text: &str) -> Option<i64> {
        Span::parse(text).ok().map(|span| span.seconds() / 3600)
    }

    #[test]
    fn intervals_are_read_as_services_write_them() {
        assert_eq!(hours("2026-06-18T09:00:00+00:00/PT2H"), Some(2));
        assert_eq!(hours("2026-06-18T09:00:00+00:00/P1DT13H"), Some(37), "a day is 24 hours: all is UTC");
        assert_eq!(hours("2026-03-08T00:00:00+00:00/P7DT6H"), Some(174), "also over a change of clocks");
        assert_eq!(hours("2026-06-18T09:00:00+00:00/2026-06-18T12:00:00+00:00"), Some(3));
        for text in [
            "2026-06-18T09:00:00+00:00",
            "PT2H/2026-06-18T09:00:00+00:00",
            "NOW/PT2H",
            "2026-06-18T09:00:00+00:00/P1M",
            "2026-06-18T09:00:00+00:00/P1Y",
            "2026-06-18T09:00:00+00:00/PT",
            "2026-06-18T09:00:00+00:00/P",
            "2026-06-18T09:00:00+00:00/PT2",
            "2026-06-18T09:00:00+00:00/PT0H",
            "2026-06-18T09:00:00+00:00/PT5M1H",
            "2026-06-18T09:00:00+00:00/2026-06-18T09:00:00+00:00",
        ] {
            assert_eq!(hours(text), None, "{text}");
        }
    }

    /// A question is asked at some millisecond, and hours that follow one another have no gap for that.
    #[test]
    fn a_window_that_begins_within_a_second_is_covered_whole() {
        let piece = |text| Piece { span: Span::parse(text).expect("a span"), value: Some(Billionths::from_raw(1)) };
        let hours = vec![piece("2026-06-18T14:00:00Z/PT1H"), piece("2026-06-18T15:00:00Z/PT1H")];
        let series = Series::new(hours).expect("a series");
        assert!(series.coverage(Span::hours_from(instant("2026-06-18T14:20:00.073Z"), 1)).is_whole());
        assert!(!series.coverage(Span::hours_from(instant("2026-06-18T15:00:00.001Z"), 1)).is_whole());
    }

    #[test]
    fn intervals_that_overlap_or_run_backwards_are_no_series() {
        let piece = |text| Piece { span: Span::parse(text).expect("a span"), value: None };
        let (a, b) = (piece("2026-06-18T09:00:00Z/PT2H"), piece("2026-06-18T10:00:00Z/PT2H"));
        assert_eq!(Series::new(vec![a, b]), Err(SeriesFault::Overlap));
        let c = piece("2026-06-18T11:00:00Z/PT1H");
        assert_eq!(Series::new(vec![c, a]), Err(SeriesFault::Overlap));
        assert!(Series::new(vec![a, c]).is_ok());
    }

    /// US clocks change on 2026-03-08 from 02:00 to 03:00 and on 2026-11-01 from 02:00 to 01:00.
    #[test]
    fn a_local_day_has_as_many_hours_as_it_has() {
        let zone = crate::time::zone("America/New_York").expect("bundled");
        let of = |text| Span::of_day(Day::parse(text).expect("a day"), &zone).seconds() / 3600;
        assert_eq!((of("2026-03-08"), of("2026-06-18"), of("2026-11-01")), (23, 24, 25));
    }

    #[test]
    fn clock_times_are_those_of_the_zone_on_that_day() {
        let zone = crate::time::zone("America/New_York").expect("bundled");
        let clock = |day: &str, from: (i8, i8), to: (i8, i8)| {
            let time = |(hour, minute)| jiff::civil::Time::constant(hour, minute, 0, 0);
            Span::of_clock(Day::parse(day).expect("a day"), time(from), time(to), &zone).expect("a span")
        };
        let span = clock("2026-03-08", (8, 0), (17, 0));
        assert_eq!((span.start, span.end), (instant("2026-03-08T12:00:00Z"), instant("2026-03-08T21:00:00Z")));
        let before = clock("2026-03-07", (8, 0), (17, 0));
        assert_eq!(before.start, instant("2026-03-07T13:00:00Z"), "the day before still has the old clock");
        // 01:30 comes twice on 2026-11-01: at 1793511000 (EDT) and at 1793514600 (EST).
        let twice = clock("2026-11-01", (1, 30), (1, 31));
        assert_eq!(twice.start.millis(), 1_793_511_000_000, "a beginning is the first");
        assert_eq!(twice.end.millis(), 1_793_514_660_000, "an end is the second");
    }
}
