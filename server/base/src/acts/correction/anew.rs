//! A record judged once more as it stands, when something becomes known of it that was not known when it was written.

use std::collections::BTreeSet;

use domain::{
    decision::Verdict,
    facts::KeptDistances,
    ids::{ApplicationId, SectionId},
    law::Lawbook,
};

use super::draft::Draft;
use crate::acts::{
    BatchFacts, Provided,
    fault::ActFault,
    rows::{LedgerRow, SectionRow},
    seen::{self, SeenFacts},
};

impl BatchFacts {
    /// Sections of one application, each with what stands.
    pub fn standing_lines(&self, application: ApplicationId) -> Vec<(SectionId, LedgerRow)> {
        let of_one = |(id, section): (&SectionId, &SectionRow)| {
            let id = *id;
            section.standing(|of| of == application).into_iter().map(move |row| (id, row))
        };
        let mut lines: Vec<(SectionId, LedgerRow)> = self.sections.iter().flat_map(of_one).collect();
        lines.sort_by_key(|(id, _)| *id);
        lines
    }

    /// How far from water and drains the work of a record was kept: the shortest that was ever told of it. What was added later counts
    /// like what was told at once, or leaving it out at first would clear what telling it stops.
    pub fn kept_of(&self, application: ApplicationId, seen: Option<&SeenFacts>) -> KeptDistances {
        seen::kept(seen).shortest(self.kept_since.get(&application).copied().unwrap_or_default())
    }
}

/// The stopping findings about a record, by their keys; none where nothing of it stands.
pub fn stops(
    application: ApplicationId,
    services: &Provided,
    world: &BatchFacts,
    law: &Lawbook,
) -> Result<BTreeSet<String>, ActFault> {
    let stored = world.applications.get(&application);
    let stored = stored.ok_or_else(|| ActFault::not_loaded("application", &application))?;
    let before = world.standing_lines(application);
    if before.is_empty() {
        return Ok(BTreeSet::new());
    }
    let draft = Draft { application: stored.row.clone(), before, after: Vec::new(), leaves_others: false };
    let decision = draft.judge(&draft.standing(), services, world, law)?;
    let stops = decision.findings.into_iter().filter(|finding| finding.verdict == Verdict::Stop);
    Ok(stops.map(|finding| finding.key).collect())
}
