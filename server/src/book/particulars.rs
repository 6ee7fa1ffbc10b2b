//! Everything that a record tells beside its amounts: what was fixed when it was written, or, of the records of earlier
//! versions, what the book says of their day, and what was added since.

use domain::ids::{ApplicationId, SectionId};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    acts::{
        application::ApplicationView,
        gaps::{Known, RecordGap, Written, gaps},
        particulars::{self, Named, Particulars, PersonalTexts},
    },
    book::weather,
    problem::Problem,
    state::App,
    store::{self, ReadTransaction, additions::Addition, particulars::Kept, world},
};

/// What a record tells beside its amounts.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct RecordParticulars {
    pub application_id: ApplicationId,
    /// False for the records of earlier versions: what is shown of them is what the book says by now of their day.
    pub fixed_at_writing: bool,
    /// SHA-256 of what was fixed, by which the journal vouches for it.
    #[schema(max_length = 64)]
    pub particulars_sha256: Option<String>,
    pub particulars: Particulars,
    /// Names, addresses, notes; null once they were destroyed.
    pub texts: Option<PersonalTexts>,
    /// The record's entry in the journal.
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub journal_seq: i64,
    #[schema(max_length = 64)]
    pub journal_hash: String,
    /// What was added since, oldest first.
    #[schema(max_items = 1000)]
    pub additions: Vec<Addition>,
}

/// What a record names, of which is told what stood.
pub fn named(application: &ApplicationView, known_at: domain::time::Instant) -> Named<'_> {
    let sections: Vec<SectionId> = application.lines.iter().map(|line| line.section_id).collect();
    Named {
        property: application.property_id,
        product: application.product_id,
        lot: application.lot_id,
        equipment: application.equipment_id,
        person: application.person_id,
        supervisor: application.supervisor_id,
        present: &application.present_ids,
        sections,
        on: application.applied_on,
        known_at,
    }
}

/// What a record tells. The caller has seen to it that whoever asks may know the record.
pub async fn of_record(app: &App, application: &ApplicationView) -> Result<RecordParticulars, Problem> {
    let mut moment = ReadTransaction::begin(app.store.reader()).await?;
    let missing = || Problem::not_found("application");
    let kept = store::particulars::kept(&mut *moment, application.id).await?.ok_or_else(missing)?;
    let additions = store::additions::list(&mut *moment, application.id).await?;
    let Kept { particulars, sha256, texts, destroyed, journal_seq, journal_hash } = kept;
    let fixed_at_writing = particulars.is_some();
    let (particulars, texts) = if let Some(fixed) = particulars {
        (fixed, texts.filter(|_| !destroyed))
    } else {
        let named = named(application, application.received_at);
        let world = world::load_named(&mut moment, &named).await?;
        let (stood, told) = particulars::of(&named, &world)?;
        // The name of whoever did the work was written with it.
        let applicator = Some(application.person_name.clone());
        let (notes, reason) = (application.notes.clone(), application.reason.clone());
        (stood, Some(PersonalTexts { applicator, notes, reason, ..told }))
    };
    Ok(RecordParticulars {
        application_id: application.id,
        fixed_at_writing,
        particulars_sha256: sha256,
        particulars,
        texts,
        journal_seq,
        journal_hash,
        additions,
    })
}

/// What a record lacks by the law of its day, with everything that was added since.
pub async fn gaps_of(
    app: &App,
    application: &ApplicationView,
    told: &RecordParticulars,
) -> Result<Vec<RecordGap>, Problem> {
    let mut known = Known::default();
    known.fixed(&told.particulars, told.texts.as_ref());
    known.weather(&application.weather);
    known.weather(&weather::of_record(app, application.id).await?.weather);
    let later = told.additions.iter();
    application.seen.iter().chain(later.clone().filter_map(|one| one.seen.as_ref())).for_each(|seen| known.seen(seen));
    for addition in later {
        if let Some(particulars) = &addition.particulars {
            known.fixed(particulars, addition.texts.as_ref());
        }
    }
    let written = Written {
        on: application.applied_on,
        finished_at: application.finished_at,
        received_at: application.received_at,
        after_the_day: application.late == Some(true),
    };
    Ok(gaps(&known, written, &told.particulars.rule_sets, &app.law))
}
