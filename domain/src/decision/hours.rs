//! The working window: hour by hour, whether a product may go down as far as the weather goes, and why not.

use serde::{Deserialize, Serialize};

use super::{
    answer::{Finding, Verdict},
    run::Run,
};
use crate::{
    facts::Facts,
    law::Lawbook,
    rules::heat,
    time::Instant,
    weather::{Weather, reported::Reported, series::Span},
};

/// One hour and what the rules on weather say of it. Season, amounts and the ground are not asked here.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct HourVerdict {
    #[schema(value_type = crate::time::reckoned::ComputedInstant)]
    pub starts_at: Instant,
    #[schema(value_type = crate::time::reckoned::ComputedInstant)]
    pub ends_at: Instant,
    pub verdict: Verdict,
    /// Why the hour is not a plain `go`, the gravest first.
    #[schema(max_items = 200)]
    pub findings: Vec<Finding>,
}

impl HourVerdict {
    /// Whether it is stopped for hot air above all.
    pub fn is_too_hot(&self) -> bool {
        let gravest = self.findings.first().filter(|finding| finding.verdict == Verdict::Stop);
        gravest.is_some_and(|finding| finding.unit.as_deref() == Some(heat::UNIT))
    }
}

/// Asks the rules on weather about each hour, with what is known now. `facts` says which product and day; its weather is
/// not read.
pub fn judge_hours(
    lawbook: &Lawbook,
    rule_sets: &[String],
    facts: &Facts,
    reported: &[&Reported],
    hours: &[Span],
    now: Instant,
) -> Vec<HourVerdict> {
    let answer = |hour: &Span| {
        // The data's age is its age now, whichever hour is asked about.
        let weather =
            reported.iter().fold(Weather::default(), |known, one| known.joined(&one.weather(hour.start, now)));
        // By what services said alone: nobody has stood there yet.
        let facts = Facts { at: now, weather, service_asked: true, ..facts.clone() };
        let findings = Run::new(lawbook, rule_sets, &facts).decide_weather();
        let verdict = findings.iter().map(|finding| finding.verdict).max().unwrap_or(Verdict::Go);
        HourVerdict { starts_at: hour.start, ends_at: hour.end, verdict, findings }
    };
    hours.iter().map(answer).collect()
}

/// The hours of a span, each beginning on the clock's full hour or at the span's beginning.
pub fn hours_of(span: Span) -> Vec<Span> {
    let mut hours = Vec::new();
    let mut start = span.start;
    while start < span.end && hours.len() < 400 {
        let into = start.millis().rem_euclid(3_600_000);
        let end = start.plus(jiff::SignedDuration::from_millis(3_600_000 - into)).min(span.end);
        hours.push(Span { start, end });
        start = end;
    }
    hours
}

/// The first stretch of hours that follow one another and have at least this verdict, if there is one.
pub fn first_stretch(hours: &[HourVerdict], worst: Verdict) -> Option<(Instant, Instant)> {
    let mut fitting = hours.iter().skip_while(|hour| hour.verdict > worst).take_while(|hour| hour.verdict <= worst);
    let first = fitting.next()?;
    Some((first.starts_at, fitting.last().map_or(first.ends_at, |last| last.ends_at)))
}
