//! Copies of the book that the server makes by itself: how they are named, what is in them, where they lie, and which may go.
//! `backups` makes them, `swardbook restore` brings one back.

pub mod bucket;
pub mod pages;
pub mod sealed;
pub mod target;

use std::{collections::BTreeSet, fmt};

use domain::time::Instant;
use jiff::{Timestamp, civil::DateTime, tz::TimeZone};

/// Days of which the last copy is kept.
const DAYS: usize = 31;
/// How moments stand in names, so that names sort by age.
const MOMENT: &str = "%Y%m%dT%H%M%SZ";
/// Length of a moment as it is written.
const MOMENT_LENGTH: usize = 16;
/// Length of the mark of a book.
const MARK_LENGTH: usize = 8;

/// What stands at the end of the name of a receipt beside a copy.
pub const RECEIPT: &str = ".receipt";
/// What stands at the end of the name of a copy that is not done.
pub const UNDONE: &str = ".part";

/// What a copy's name tells: of which book, to which moment it reaches, and which whole copy it goes with if it has only what
/// changed since that one.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Name {
    pub at: Instant,
    /// The moment of the whole copy without which this one is nothing.
    pub since: Option<Instant>,
    /// Pressed, as all are but those of earlier versions.
    pub packed: bool,
    /// Encrypted to somebody's public key.
    pub sealed: bool,
    /// Eight digits that tell the book from others.
    pub mark: String,
}

impl Name {
    /// Reads a name; nothing of what is no copy.
    pub fn parse(name: &str) -> Option<Self> {
        let rest = name.strip_prefix("swardbook-")?;
        let (mark, rest) = rest.split_at_checked(MARK_LENGTH)?;
        if !mark.bytes().all(|digit| digit.is_ascii_hexdigit()) {
            return None;
        }
        let (at, rest) = rest.strip_prefix('-')?.split_at_checked(MOMENT_LENGTH)?;
        let (since, rest) = match rest.strip_prefix(".since-") {
            Some(rest) => {
                let (since, rest) = rest.split_at_checked(MOMENT_LENGTH)?;
                (Some(moment(since)?), rest)
            }
            None => (None, rest.strip_prefix(".db")?),
        };
        let (packed, sealed) = match rest {
            "" if since.is_none() => (false, false),
            ".zst" => (true, false),
            ".zst.sealed" => (true, true),
            _ => return None,
        };
        Some(Self { at: moment(at)?, since, packed, sealed, mark: mark.to_owned() })
    }

    /// Whether this whole copy is the one that another goes with.
    fn is_whole_of(&self, other: &Self) -> bool {
        self.since.is_none() && self.mark == other.mark && other.since == Some(self.at)
    }
}

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "swardbook-{}-{}", self.mark, written(self.at))?;
        match self.since {
            Some(since) => write!(f, ".since-{}", written(since))?,
            None => f.write_str(".db")?,
        }
        f.write_str(if self.packed { ".zst" } else { "" })?;
        f.write_str(if self.sealed { ".sealed" } else { "" })
    }
}

fn written(at: Instant) -> String {
    let at = Timestamp::from_millisecond(at.millis()).unwrap_or_default();
    TimeZone::UTC.to_datetime(at).strftime(MOMENT).to_string()
}

fn moment(text: &str) -> Option<Instant> {
    let at = TimeZone::UTC.to_timestamp(DateTime::strptime(MOMENT, text).ok()?).ok()?;
    Instant::from_millis(at.as_millisecond()).filter(|at| written(*at) == text)
}

/// A moment as precise as names tell it.
pub fn to_the_second(at: Instant) -> Instant {
    Instant::from_millis(at.millis().div_euclid(1000) * 1000).unwrap_or(at)
}

/// Those that are neither among the newest, nor the last of one of the last days, nor the whole one that one of these goes with.
/// The oldest comes first, and what goes with a whole one before it.
pub fn outdated(mut names: Vec<Name>, keep: usize) -> Vec<Name> {
    names.sort();
    let mut kept: BTreeSet<&Name> = names.iter().rev().take(keep.max(1)).collect();
    let mut days = BTreeSet::new();
    for name in names.iter().rev() {
        let day = name.at.millis().div_euclid(86_400_000);
        if days.len() < DAYS && days.insert(day) {
            kept.insert(name);
        }
    }
    let wholes: Vec<&Name> = names.iter().filter(|whole| kept.iter().any(|kept| whole.is_whole_of(kept))).collect();
    kept.extend(wholes);
    let mut outdated: Vec<Name> = names.iter().filter(|name| !kept.contains(name)).cloned().collect();
    outdated.sort_by_key(|name| (name.since.is_none(), name.at));
    outdated
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(rest: &str) -> Name {
        Name::parse(&format!("swardbook-0a1b2c3d-{rest}")).unwrap_or_else(|| panic!("{rest} is no name"))
    }

    #[test]
    fn a_name_tells_what_a_copy_is_and_is_written_as_it_was_read() {
        let at = Instant::parse("2026-09-15T14:00:07Z").expect("an instant");
        for (rest, since, packed, sealed) in [
            ("20260915T140007Z.db", None, false, false),
            ("20260915T140007Z.db.zst", None, true, false),
            ("20260915T140007Z.db.zst.sealed", None, true, true),
            ("20260915T140007Z.since-20260915T060000Z.zst", Instant::parse("2026-09-15T06:00:00Z").ok(), true, false),
        ] {
            let name = named(rest);
            assert_eq!((name.at, name.since, name.packed, name.sealed), (at, since, packed, sealed), "{rest}");
            assert_eq!(name.to_string(), format!("swardbook-0a1b2c3d-{rest}"));
        }
        for odd in [
            "swardbook-0a1b2c3d-20261315T140007Z.db",
            "swardbook-0a1b2c3d-20260915T140007Z.db.part",
            "swardbook-0a1b2c3d-20260915T140007Z.db.zst.receipt",
            "swardbook-0a1b2c3d-20260915T140007Z.since-20260915T060000Z",
            "swardbook-0a1b2c3d-20260915T140007Z",
            "swardbook-zzzzzzzz-20260915T140007Z.db",
            "swardbook-2026.db",
            "company.db",
            "swardbook-0a1b2c3é-20260915T140007Z.db",
        ] {
            assert_eq!(Name::parse(odd), None, "{odd}");
        }
    }

    #[test]
    fn the_newest_and_the_last_of_each_day_are_kept_with_what_they_go_with() {
        let mut names = Vec::new();
        for day in 1..=30 {
            names.push(named(&format!("202609{day:02}T060000Z.db.zst")));
            for hour in [9, 17] {
                names.push(named(&format!("202609{day:02}T{hour:02}0000Z.since-202609{day:02}T060000Z.zst")));
            }
        }
        // A whole one of the same day that nothing goes with, and one of an earlier version.
        names.extend([named("20260902T070000Z.db.zst"), named("20260901T010000Z.db")]);
        let gone: BTreeSet<Name> = outdated(names.clone(), 3).into_iter().collect();
        let is_gone = |rest: &str| gone.contains(&named(rest));
        // Of each day the last and the whole one; of the newest three, one more.
        assert_eq!(names.len() - gone.len(), 60 + 1);
        assert!(!is_gone("20260930T090000Z.since-20260930T060000Z.zst"), "among the three newest");
        assert!(!is_gone("20260901T170000Z.since-20260901T060000Z.zst"), "the last of its day");
        assert!(!is_gone("20260901T060000Z.db.zst"), "the last of its day goes with it");
        assert!(is_gone("20260901T090000Z.since-20260901T060000Z.zst"));
        assert!(is_gone("20260902T070000Z.db.zst") && is_gone("20260901T010000Z.db"));
        // Whatever is left, nothing of it stands alone.
        for many in 1..40 {
            let gone = outdated(names.clone(), many);
            let left: Vec<&Name> = names.iter().filter(|name| !gone.contains(name)).collect();
            let alone = |name: &&&Name| name.since.is_some() && !left.iter().any(|whole| whole.is_whole_of(name));
            assert_eq!(left.iter().find(alone), None);
            let first_whole = gone.iter().position(|name| name.since.is_none()).unwrap_or(gone.len());
            assert!(gone[first_whole..].iter().all(|name| name.since.is_none()), "whole ones go last");
        }
    }
}
