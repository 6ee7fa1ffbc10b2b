//! What the owner asks first: who will run past a cap and when, and whether the journal still fits together.

use domain::{journal, time::Day};

use crate::{
    book::company_year::SectionSum,
    pages::{figures, local::Local},
    paging::PageRequest,
    problem::Problem,
    state::App,
    store::{self, journal::JournalEntry, settings::DateOrder},
};

/// So many of the newest links of the journal are recomputed for the page; `swardbook verify` recomputes all.
const LINKS: i64 = 200;

/// A section that is past its cap, or will be with a visit that is planned.
pub struct RunsPast {
    pub client: String,
    pub client_id: String,
    pub property_id: String,
    pub section: String,
    /// The day of the visit with which it runs past; nothing when it is past already.
    pub on: Option<Day>,
    pub words: String,
}

/// Those that are past come first, then the others by the day of the visit.
pub fn runs_past(sums: &[SectionSum]) -> Vec<RunsPast> {
    let mut found: Vec<RunsPast> = sums.iter().filter_map(one).collect();
    found.sort_by_key(|one| one.on);
    found
}

fn one(sum: &SectionSum) -> Option<RunsPast> {
    let (cap, room) = (sum.cap.as_ref()?, sum.remaining_nitrogen_lb_per_1000_sqft?);
    let (applied, limit) = (sum.nitrogen_lb_per_1000_sqft, cap.limit_lb_per_1000_sqft);
    let (on, words) = match sum.runs_past_on {
        _ if room.raw() < 0 => {
            let applied = figures::rate_against(&applied, Some(&limit)).shown;
            (None, format!("{applied} lb N is down, and the cap is {}.", figures::limit(&limit).shown))
        }
        Some(day) => {
            let planned = figures::rate_against(&sum.planned_nitrogen_lb_per_1000_sqft, Some(&room)).shown;
            let (room, limit) = (figures::limit(&room).shown, figures::limit(&limit).shown);
            (Some(day), format!("{room} lb N is left of {limit}, and {planned} is planned."))
        }
        None => return None,
    };
    Some(RunsPast {
        client: sum.client_name.clone(),
        client_id: sum.client_id.to_string(),
        property_id: sum.property_id.to_string(),
        section: format!("{}, {}", sum.address, sum.section_name),
        on,
        words,
    })
}

/// The journal as it stands.
pub struct JournalState {
    pub entries: i64,
    pub last_at: Option<String>,
    /// How many of the newest links were recomputed.
    pub links: usize,
    /// The number of the first entry that does not fit.
    pub broken_at: Option<i64>,
    pub head: String,
}

pub async fn journal(app: &App, local: &Local, dates: DateOrder) -> Result<JournalState, Problem> {
    let pool = app.store.reader();
    let entries = store::journal::length(pool).await?;
    let span = PageRequest { after: (entries - LINKS).max(0), take: LINKS };
    let newest: Vec<JournalEntry> =
        store::journal::list(pool, span, None).await?.into_iter().map(|row| row.item).collect();
    let last = newest.last();
    Ok(JournalState {
        entries,
        last_at: last.map(|entry| local.minute(entry.written_at, dates)),
        links: newest.len(),
        broken_at: first_break(&newest),
        head: last.map_or_else(|| journal::BEGINNING.to_owned(), |entry| entry.hash.clone()),
    })
}

/// The first entry whose hash is not that of its content, or that does not follow from the one before it.
fn first_break(entries: &[JournalEntry]) -> Option<i64> {
    let own = |entry: &JournalEntry| {
        let content = journal::Entry {
            seq: entry.seq,
            written_at_ms: entry.written_at.millis(),
            person_id: entry.person_id.as_deref(),
            device_id: entry.device_id.as_deref(),
            act: &entry.act,
            subject_id: &entry.subject_id,
            payload: &entry.payload,
        };
        content.hash(&entry.previous_hash) == entry.hash
    };
    let follows = |at: usize, entry: &JournalEntry| {
        let before = at.checked_sub(1).and_then(|before| entries.get(before));
        before.is_none_or(|before| before.hash == entry.previous_hash && before.seq + 1 == entry.seq)
    };
    entries.iter().enumerate().find(|(at, entry)| !own(entry) || !follows(*at, entry)).map(|(_, entry)| entry.seq)
}

#[cfg(test)]
mod tests {
    use domain::time::Instant;

    use super::*;

    fn chain() -> Vec<JournalEntry> {
        let mut previous_hash = journal::BEGINNING.to_owned();
        let mut chain = Vec::new();
        for seq in 1..=3 {
            let written_at = Instant::parse("2026-09-15T14:00:00Z").expect("a moment");
            let mut entry = JournalEntry {
                seq,
                written_at,
                person_id: None,
                device_id: None,
                act: "client.created".to_owned(),
                subject_id: format!("{seq}"),
                payload: "{}".to_owned(),
                previous_hash,
                hash: String::new(),
            };
            entry.hash = journal::Entry {
                seq,
                written_at_ms: written_at.millis(),
                person_id: None,
                device_id: None,
                act: &entry.act,
                subject_id: &entry.subject_id,
                payload: &entry.payload,
            }
            .hash(&entry.previous_hash);
            previous_hash = entry.hash.clone();
            chain.push(entry);
        }
        chain
    }

    #[test]
    fn a_changed_a_missing_and_a_sound_journal_are_told_apart() {
        assert_eq!(first_break(&chain()), None);
        let mut changed = chain();
        changed[1].payload = "{\"name\":\"somebody else\"}".to_owned();
        assert_eq!(first_break(&changed), Some(2));
        let mut shorter = chain();
        shorter.remove(1);
        assert_eq!(first_break(&shorter), Some(3));
    }
}
