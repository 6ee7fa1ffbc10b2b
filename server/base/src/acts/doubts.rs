//! What is odd about a record beside the law: its clearance, its visit, its clock. Work that was done is recorded all the same; what
//! went wrong around it is said.

use domain::{
    decision::{Decision, Finding, Verdict},
    ids::{ClearanceId, PersonId},
    time::{Day, Instant},
};

use super::{
    BatchFacts,
    application::{ApplicationInput, AppliedLine},
    facts,
};

/// Work this many days from its planned day still counts as that visit's: rain and illness move days. *Common practice.*
const DAYS_FROM_PLAN: i32 = 14;
/// A phone's clock that was moved by more than this leaves the times in doubt.
const CLOCK_MOVED_S: i64 = 60;

/// The clearance whose room this work takes, and what is odd about the one that it names. One that was another person's, of
/// another day, for other sections or used up keeps what it holds: the work is recorded all the same, once somebody has
/// read that.
pub fn used_clearance(
    input: &ApplicationInput,
    person: PersonId,
    sender: PersonId,
    on: Day,
    world: &BatchFacts,
) -> (Option<ClearanceId>, Vec<Finding>) {
    let Some((id, stored)) = input.clearance_id.and_then(|id| Some((id, world.clearances.get(&id)?))) else {
        return (None, Vec::new());
    };
    let row = &stored.row;
    let without =
        "If this work was never recorded before, send it without the clearance, or acknowledge this and say why.";
    let mut findings = Vec::new();
    let mut stop = |rule, message: String| findings.push(facts::book_finding(rule, Verdict::Stop, message, without));
    if stored.ended.as_deref() == Some("used") {
        let message = "Another application has used this clearance already; the same work may be recorded twice.";
        stop("book.clearance.unused", message.to_owned());
    }
    if row.person_id != person && row.person_id != sender {
        stop("book.clearance.person", "This clearance was given to somebody else.".to_owned());
    }
    if row.planned_on != on {
        let message = format!("This clearance is for {}, and the work began on {on}.", row.planned_on);
        stop("book.clearance.day", message);
    }
    let cleared = |line: &AppliedLine| stored.lines.iter().any(|cleared| cleared.0 == line.section_id);
    let covered = input.lines.iter().filter(|line| cleared(line)).count();
    if covered == 0 {
        stop("book.clearance.sections", "This clearance holds room on none of these sections.".to_owned());
    }
    let fits = findings.is_empty().then_some(id);
    let mut care =
        |rule, message: &str, hint| findings.push(facts::book_finding(rule, Verdict::Care, message.to_owned(), hint));
    if covered > 0 && covered < input.lines.len() {
        let message = "This clearance holds room on some of these sections, and on others not.";
        care("book.clearance.covers", message, "Get a clearance for every section before the work.");
    }
    if stored.ended.as_deref() == Some("given_back") {
        let message = "This clearance was given back before, so it held no room for this work.";
        care("book.clearance.held", message, "Give a clearance back only when the work is not done.");
    }
    (fits, findings)
}

/// What is odd about the visit that the record names: another product, other sections, or a day far from its own.
pub fn visit_that_fits(input: &ApplicationInput, on: Day, world: &BatchFacts) -> Option<Finding> {
    let visit = world.visits.get(&input.visit_id?)?;
    let mut odd = Vec::new();
    if visit.product_id != input.product_id {
        odd.push("was planned with another product".to_owned());
    }
    if !input.lines.iter().any(|line| visit.section_ids.contains(&line.section_id)) {
        odd.push("was planned for other sections".to_owned());
    }
    if on.days_since(visit.planned_on).abs() > DAYS_FROM_PLAN {
        odd.push(format!("was planned on {}", visit.planned_on));
    }
    let message = format!("The visit that this record names {}.", odd.join(" and "));
    let hint = "If the work belongs to another visit, or to none, correct the record.";
    (!odd.is_empty()).then(|| facts::book_finding("book.visit.fits", Verdict::Care, message, hint))
}

/// Whether the visit that the record names was still this person's to make. Work that was done is recorded; what went wrong with
/// its planning is said.
pub fn visit_that_stands(input: &ApplicationInput, person: PersonId, world: &BatchFacts) -> Vec<Finding> {
    let Some(visit) = input.visit_id.and_then(|id| world.visits.get(&id)) else { return Vec::new() };
    let mut findings = Vec::new();
    let mut care =
        |rule, message: &str, hint| findings.push(facts::book_finding(rule, Verdict::Care, message.to_owned(), hint));
    let closed = match visit.status.as_str() {
        "cancelled" => Some("The visit that this record names was cancelled."),
        "not_done" => Some("The office had closed the visit that this record names as not done."),
        _ => None,
    };
    if let Some(message) = closed {
        let hint = "The office asks who sent the technician, and tells the client what was put down.";
        care("book.visit.stands", message, hint);
    }
    if visit.person_id != person {
        let hint = "Make sure that nobody else treats the same lawn; the office gives the visit to whoever made it.";
        care("book.visit.person", "The visit that this record names was given to somebody else.", hint);
    }
    findings
}

/// Whether the phone's clock went evenly while the work was done. The times of the record come from the server's clock, as far
/// as the phone could follow it; a clock that was moved leaves them in doubt.
pub fn steady_clock(input: &ApplicationInput) -> Option<Finding> {
    let off = |phone: Option<Instant>, at: Instant| Some(phone?.since(at).as_secs());
    let drifted = off(input.phone_started_at, input.started_at)
        .zip(off(input.phone_finished_at, input.finished_at))
        .map(|(started, finished)| finished.saturating_sub(started));
    let worst = [input.clock_jump_s, drifted].into_iter().flatten().max_by_key(|moved| moved.saturating_abs())?;
    let message = format!("The phone's clock was moved by {} while this was worked on.", duration(worst));
    let hint = "Check the times of the work with whoever did it, and correct the record if they are wrong.";
    (worst.saturating_abs() > CLOCK_MOVED_S)
        .then(|| facts::book_finding("book.record.clock", Verdict::Care, message, hint))
}

/// A span of seconds as people say it.
fn duration(seconds: i64) -> String {
    let minutes = (seconds.saturating_abs() + 30) / 60;
    let (hours, rest) = (minutes / 60, minutes % 60);
    let direction = if seconds < 0 { "back" } else { "ahead" };
    if hours > 0 { format!("{hours} h {rest} min {direction}") } else { format!("{rest} min {direction}") }
}

/// Why the owner should look at a record that breaks no rule.
pub fn review_reason(decision: &Decision) -> Option<&'static str> {
    let reasons = [
        ("book.visit.stands", "visit_changed"),
        ("book.visit.person", "visit_changed"),
        ("book.record.clock", "clock_moved"),
    ];
    let found = |(rule, _): &&(&str, &str)| decision.findings.iter().any(|finding| finding.rule == *rule);
    reasons.iter().find(found).map(|(_, reason)| *reason)
}
