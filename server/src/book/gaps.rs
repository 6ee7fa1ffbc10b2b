//! The one list of what records lack.

use std::collections::BTreeSet;

use domain::{
    ids::{ApplicationId, PersonId, PropertyId},
    law::Lawbook,
    time::Day,
};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    acts::{
        application::ApplicationView,
        gaps::{GapKind, RecordGap},
    },
    book::{
        particulars::{Shelf, Whole},
        statement::LawThen,
    },
    paging::{PageRequest, Sequenced},
    problem::Problem,
    state::App,
    store::{self, settings::DateOrder},
};

/// A record with what it lacks.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct IncompleteRecord {
    pub application_id: ApplicationId,
    pub property_id: PropertyId,
    pub person_id: PersonId,
    pub applied_on: Day,
    /// The site as the record names it; null once its texts were destroyed.
    #[schema(max_length = 300)]
    pub address: Option<String>,
    #[schema(min_items = 1, max_items = 60)]
    pub gaps: Vec<RecordGap>,
}

/// Those of some records that lack something, in their order, and the rule sets by which they lack something else than by the law of
/// another time. A statement names a rule set that is not here once, and not for each record.
async fn incomplete(
    app: &App,
    applications: &[&ApplicationView],
    (then, names_unknown_law): (Option<&Lawbook>, bool),
) -> Result<(Vec<IncompleteRecord>, BTreeSet<String>), Problem> {
    let ids: Vec<ApplicationId> = applications.iter().map(|application| application.id).collect();
    let (mut shelf, law) = (Shelf::of(app, &ids).await?, app.law());
    let (mut found, mut otherwise) = (Vec::new(), BTreeSet::new());
    for application in applications {
        let (Whole { told, mut gaps, .. }, before) = shelf.by_two(application, &law, then).await?;
        if !names_unknown_law {
            gaps.retain(|gap| gap.kind != GapKind::RuleSet);
        }
        otherwise.extend(before.into_iter().flat_map(|before| differing(&gaps, &before)));
        if !gaps.is_empty() {
            found.push(IncompleteRecord {
                application_id: application.id,
                property_id: application.property_id,
                person_id: application.person_id,
                applied_on: application.applied_on,
                address: told.texts.and_then(|texts| texts.site_address),
                gaps,
            });
        }
    }
    Ok((found, otherwise))
}

/// The rule sets whose gaps are in one list and not in the other. A rule is called by its set and a name after a point.
fn differing(gaps: &[RecordGap], others: &[RecordGap]) -> BTreeSet<String> {
    let told = |gaps: &[RecordGap]| -> BTreeSet<(String, String)> {
        gaps.iter().map(|gap| (gap.source.rule.clone(), format!("{} ({})", gap.words, gap.source.citation))).collect()
    };
    let rules = told(gaps).symmetric_difference(&told(others)).cloned().collect::<Vec<_>>();
    rules.iter().filter_map(|(rule, _)| rule.split('.').next()).map(str::to_owned).collect()
}

/// Records asked for one answer at most: each is put together from everything that was added to it.
const LOOKED_AT: usize = 500;
/// Records asked in one go.
const AT_ONCE: i64 = 50;

/// A page of the list.
#[derive(Debug, Default)]
pub struct Found {
    pub records: Vec<IncompleteRecord>,
    /// The last record that was looked at, where others follow.
    pub goes_on_after: Option<i64>,
}

/// So many incomplete records, the latest received first. Those whose gaps were closed since are passed over. When many follow
/// one another, the page ends before it is full, and says where to go on.
pub async fn page(app: &App, after: i64, most: usize) -> Result<Found, Problem> {
    let (mut found, mut after, mut looked_at) = (Found::default(), after, 0);
    loop {
        let span = PageRequest { after, take: AT_ONCE };
        let candidates = store::gaps::candidates(app.store.reader(), span).await?;
        if candidates.is_empty() {
            return Ok(found);
        }
        let applications: Vec<&ApplicationView> = candidates.iter().map(|candidate| &candidate.item).collect();
        let mut lacking = incomplete(app, &applications, (None, true)).await?.0.into_iter().peekable();
        for Sequenced { seq, item } in &candidates {
            if found.records.len() == most || looked_at == LOOKED_AT {
                found.goes_on_after = Some(after);
                return Ok(found);
            }
            (after, looked_at) = (*seq, looked_at + 1);
            found.records.extend(lacking.next_if(|record| record.application_id == item.id));
        }
    }
}

/// What the records of a statement lack.
#[derive(Debug, Default)]
pub struct Lacking {
    /// A sentence for each gap, with days as its reader writes them.
    pub sentences: Vec<String>,
    /// The rule sets by whose version of now they lack something else than by that which counted then.
    pub otherwise: BTreeSet<String>,
}

/// What some records lack, as a statement names it, held against the law that counted when its year ended, too.
pub async fn of_statement(
    app: &App,
    records: impl Iterator<Item = ApplicationId>,
    (dates, then): (DateOrder, Option<&LawThen>),
) -> Result<Lacking, Problem> {
    let ids: Vec<ApplicationId> = records.collect();
    let candidates = store::gaps::candidates_among(app.store.reader(), &ids).await?;
    let unasked = candidates.len().saturating_sub(LOOKED_AT);
    let asked: Vec<&ApplicationView> = candidates.iter().take(LOOKED_AT).collect();
    let (lacking, otherwise) = incomplete(app, &asked, (then.and_then(LawThen::law), false)).await?;
    let mut sentences = Vec::new();
    for record in lacking {
        let day = dates.day(record.applied_on);
        let of = match &record.address {
            Some(address) => format!("{address}: the record of {day}"),
            None => format!("The record of {day}, whose address was destroyed,"),
        };
        sentences.extend(record.gaps.iter().map(|gap| format!("{of} lacks {} ({}).", gap.words, gap.source.citation)));
    }
    if unasked > 0 {
        sentences.push(format!(
            "{unasked} more records of this statement were not asked what they lack; the list of incomplete records has them."
        ));
    }
    Ok(Lacking { sentences, otherwise })
}
