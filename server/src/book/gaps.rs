//! The one list of what records lack.

use domain::{
    ids::{ApplicationId, PersonId, PropertyId},
    time::Day,
};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    acts::{application::ApplicationView, gaps::RecordGap},
    book::particulars,
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

async fn incomplete(app: &App, application: &ApplicationView) -> Result<Option<IncompleteRecord>, Problem> {
    let told = particulars::of_record(app, application).await?;
    let gaps = particulars::gaps_of(app, application, &told).await?;
    let address = told.texts.and_then(|texts| texts.site_address);
    Ok((!gaps.is_empty()).then_some(IncompleteRecord {
        application_id: application.id,
        property_id: application.property_id,
        person_id: application.person_id,
        applied_on: application.applied_on,
        address,
        gaps,
    }))
}

/// So many records looked at, each with what it lacks; nothing for those whose gaps were closed since.
pub async fn page(app: &App, span: PageRequest) -> Result<Vec<Sequenced<Option<IncompleteRecord>>>, Problem> {
    let mut rows = Vec::new();
    for Sequenced { seq, item } in store::gaps::candidates(app.store.reader(), span).await? {
        rows.push(Sequenced { seq, item: incomplete(app, &item).await? });
    }
    Ok(rows)
}

/// What some records lack, a sentence for each gap, as a statement names it, with days as its reader writes them.
pub async fn sentences(
    app: &App,
    records: impl Iterator<Item = ApplicationId>,
    dates: DateOrder,
) -> Result<Vec<String>, Problem> {
    let ids: Vec<String> = records.map(|id| id.to_string()).collect();
    let mut told = Vec::new();
    for application in store::gaps::candidates_among(app.store.reader(), &ids).await? {
        let Some(record) = incomplete(app, &application).await? else { continue };
        let address = record.address.unwrap_or_default();
        told.extend(record.gaps.iter().map(|gap| {
            let day = dates.day(record.applied_on);
            format!("{address}: the record of {day} lacks {} ({}).", gap.words, gap.source.citation)
        }));
    }
    Ok(told)
}
