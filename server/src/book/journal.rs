//! Whether the journal still fits together, as far as its newest links tell.

use domain::{journal, time::Instant};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    paging::PageRequest,
    problem::Problem,
    store::{self, Store, journal::JournalEntry},
};

/// So many of the newest links of the journal are recomputed for whoever looks; `swardbook verify` recomputes all.
const LINKS: i64 = 200;

/// The journal as it stands.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct JournalState {
    #[schema(minimum = 0, maximum = 9_007_199_254_740_991_i64)]
    pub entries: i64,
    /// When the newest entry was written.
    pub last_at: Option<Instant>,
    /// How many of the newest links were recomputed now.
    #[schema(minimum = 0, maximum = 200)]
    pub links: usize,
    /// The number of the first of them that does not fit; null when all do.
    #[schema(minimum = 1, maximum = 9_007_199_254_740_991_i64)]
    pub broken_at: Option<i64>,
    /// The hash of the newest entry, which vouches for everything before it.
    #[schema(max_length = 64)]
    pub head: String,
}

/// The newest links, recomputed. The entry before them is read too, because the first of them must follow from it.
pub async fn state(store: &Store) -> Result<JournalState, Problem> {
    let pool = store.reader();
    let entries = store::journal::length(pool).await?;
    let after = (entries - LINKS).max(0);
    let span = PageRequest { after: (after - 1).max(0), take: LINKS + 1 };
    let newest: Vec<JournalEntry> =
        store::journal::list(pool, span, None).await?.into_iter().map(|row| row.item).collect();
    let (before, newest) = match newest.split_first() {
        Some((first, others)) if first.seq == after => ((first.seq, first.hash.as_str()), others),
        // Nothing stands before the first entry; and where an entry is missing, the next one follows from nothing.
        _ if after == 0 => ((0, journal::BEGINNING), newest.as_slice()),
        _ => ((after, ""), newest.as_slice()),
    };
    let last = newest.last();
    Ok(JournalState {
        entries,
        last_at: last.map(|entry| entry.written_at),
        links: newest.len(),
        broken_at: first_break(before, newest),
        head: last.map_or_else(|| journal::BEGINNING.to_owned(), |entry| entry.hash.clone()),
    })
}

/// The first entry whose hash is not that of its content, or that does not follow from the one before it. Of the entry before the
/// first of these, number and hash are told.
fn first_break(before: (i64, &str), entries: &[JournalEntry]) -> Option<i64> {
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
    let (mut seq, mut hash) = before;
    for entry in entries {
        if entry.seq != seq + 1 || entry.previous_hash != hash || !own(entry) {
            return Some(entry.seq);
        }
        (seq, hash) = (entry.seq, &entry.hash);
    }
    None
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
        const BEFORE: (i64, &str) = (0, journal::BEGINNING);
        assert_eq!(first_break(BEFORE, &chain()), None);
        let mut changed = chain();
        changed[1].payload = "{\"name\":\"somebody else\"}".to_owned();
        assert_eq!(first_break(BEFORE, &changed), Some(2));
        let mut shorter = chain();
        shorter.remove(1);
        assert_eq!(first_break(BEFORE, &shorter), Some(3));
        // What was taken from the beginning leaves a chain that is sound in itself.
        assert_eq!(first_break(BEFORE, &chain()[1..]), Some(2));
        let whole = chain();
        assert_eq!(first_break((1, &whole[0].hash), &whole[1..]), None);
        assert_eq!(first_break((1, &whole[1].hash), &whole[1..]), Some(2), "it follows from another entry");
    }
}
