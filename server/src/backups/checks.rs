//! What is asked before a copy is made and of the copy before it counts.

use std::path::Path;

use domain::time::Instant;
use jiff::{Timestamp, ToSpan, civil::Date, tz::TimeZone};

use super::Plan;
use crate::{
    book::verify,
    space,
    store::{backup, file},
};

/// The hour of the company's clock from which on the next copy is a whole one.
const NIGHT: i8 = 2;

/// When the last night began, by the company's clock.
pub(super) fn night_before(now: Instant, zone: Option<&str>) -> Instant {
    let zone = zone.and_then(|zone| domain::time::zone(zone).ok()).unwrap_or(TimeZone::UTC);
    let local = zone.to_datetime(Timestamp::from_millisecond(now.millis()).unwrap_or_default());
    let begins = |date: Date| {
        let night = zone.to_timestamp(date.at(NIGHT, 0, 0, 0)).ok()?;
        Instant::from_millis(night.as_millisecond()).filter(|night| *night <= now)
    };
    let yesterday = || begins(local.date().checked_sub(1.day()).ok()?);
    begins(local.date()).or_else(yesterday).unwrap_or(now)
}

/// Whether a disk has too little left for another copy. It is not filled first: it may be the one of the records.
pub(super) fn no_room(book: &Path, plan: &Plan, aside: &Path) -> Option<String> {
    let bytes = |file: &Path| std::fs::metadata(file).map_or(0, |found| found.len());
    let needed = bytes(book) + bytes(&file::beside(book, "-wal"));
    // As it is and packed, in one place or in two.
    let apart = plan.target.folder().filter(|folder| *folder != aside);
    let places =
        [Some((aside, if apart.is_some() { needed } else { 2 * needed })), apart.map(|folder| (folder, needed))];
    places.into_iter().flatten().find_map(|(folder, needed)| {
        let left = space::left_at(folder)?;
        (left < needed).then(|| {
            format!(
                "a copy may need {} MB, and the disk of {} has {} MB left",
                needed / 1_000_000 + 1,
                folder.display(),
                left / 1_000_000
            )
        })
    })
}

/// That the file is sound and reaches as far as the book did; how far it reaches.
pub(super) async fn sound(part: &Path, entry: Option<i64>) -> Result<Option<i64>, String> {
    let faults = backup::quick_faults(part).await.map_err(unread)?;
    if let Some(first) = faults.first() {
        return Err(format!("the copy is not sound ({} faults): {first}", faults.len()));
    }
    let reaches = backup::newest_entry(part).await.map_err(unread)?.map(|(number, _)| number);
    if reaches < entry { Err("the copy does not reach as far as the records did".to_owned()) } else { Ok(reaches) }
}

/// What does not add up in a copy, once a day. It is no fault of the copying, and no reason to have no copy.
pub(super) async fn adds_up(part: &Path) -> Option<String> {
    let found = match verify::check_file(part).await {
        Ok(found) => found,
        Err(error) => return Some(unread(error)),
    };
    let first = found.faults.first()?;
    Some(format!(
        "they are copied, but do not add up ({} faults: {first}). Copies are made all the same; compare them by `swardbook verify`",
        found.faults.len()
    ))
}

#[expect(clippy::needless_pass_by_value, reason = "it is what a failed result is turned into")]
pub(super) fn unread(error: impl ToString) -> String {
    format!("the copy cannot be read: {}", error.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Instant {
        Instant::parse(text).expect("an instant")
    }

    #[test]
    fn the_night_begins_at_two_by_the_companys_clock() {
        for (now, zone, night) in [
            ("2026-09-15T14:00:00Z", "America/New_York", "2026-09-15T06:00:00Z"),
            ("2026-09-15T05:59:59Z", "America/New_York", "2026-09-14T06:00:00Z"),
            ("2026-09-15T06:00:00Z", "America/New_York", "2026-09-15T06:00:00Z"),
            // Two o'clock does not come on the day when summer time begins.
            ("2026-03-08T12:00:00Z", "America/New_York", "2026-03-08T07:00:00Z"),
            ("2026-01-01T01:00:00Z", "UTC", "2025-12-31T02:00:00Z"),
        ] {
            assert_eq!(night_before(at(now), Some(zone)), at(night), "{now} {zone}");
        }
        assert_eq!(night_before(at("2026-01-01T03:00:00Z"), None), at("2026-01-01T02:00:00Z"));
    }
}
