//! Everything that a record tells beside its amounts: what was fixed when it was written, or, of the records of earlier
//! versions, what the book says of their day, and what was added since.

use domain::{
    facts::SiteFacts,
    ids::{ApplicationId, ClientId, PropertyId, SectionId},
    law::Bound,
    quantity::Area,
};
use serde::Serialize;
use sqlx::SqliteExecutor;
use utoipa::ToSchema;

use crate::{
    acts::{
        application::ApplicationView,
        gaps::{GapKind, Known, OfTheDay, RecordGap, Written, gaps},
        particulars::{self, Named, Particulars, PersonalTexts, SectionThen},
    },
    book::{site, weather},
    paging::PageRequest,
    problem::Problem,
    scope::Scope,
    state::App,
    store::{
        self, ReadTransaction,
        additions::{Addition, AdditionExplains},
        particulars::Kept,
        world,
    },
    zone,
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
    /// Sections that only a correction names. Nothing of them was fixed at writing: what is shown is what the book says by now of
    /// the day of the work.
    #[schema(max_items = 20)]
    pub sections_since: Vec<SectionThen>,
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

impl RecordParticulars {
    /// Leaves out who a client was and how to reach them, unless the property is that client's now: whoever works there need not
    /// know those of former ones.
    fn keep_to_client(&mut self, present: Option<ClientId>) {
        let forget = |client: ClientId, texts: &mut Option<PersonalTexts>| {
            if let Some(texts) = texts.as_mut().filter(|_| present != Some(client)) {
                (texts.client, texts.mailing_address, texts.telephone) = (None, None, None);
            }
        };
        forget(self.particulars.client_id, &mut self.texts);
        for addition in &mut self.additions {
            if let Some(particulars) = &addition.particulars {
                forget(particulars.client_id, &mut addition.texts);
            }
        }
    }
}

/// Leaves out who a former client was, for whoever may not see the whole company.
pub async fn keep_to_client(app: &App, property: PropertyId, told: &mut RecordParticulars) -> Result<(), Problem> {
    let zone = zone::of_property(property, &told.particulars.time_zone)?;
    let today = site::on(app.store.reader(), property, app.clock.now().day_in(&zone)).await?;
    told.keep_to_client(today.map(|site| site.place.client_id));
    Ok(())
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

/// The sections on which something stands by the last word on a record.
pub async fn standing(
    executor: impl SqliteExecutor<'_>,
    application: &ApplicationView,
) -> Result<Vec<SectionId>, sqlx::Error> {
    let words = store::applications::corrections(executor, EVERY, Some(application.id), None, Scope::Company).await?;
    let lines = words.last().map_or(&application.lines, |last| &last.item.lines);
    Ok(lines.iter().map(|line| line.section_id).collect())
}

/// Every correction of a record: there are few.
const EVERY: PageRequest = PageRequest { after: 0, take: 1000 };

/// What a record tells. The caller has seen to it that whoever asks may know the record.
pub async fn of_record(app: &App, application: &ApplicationView) -> Result<RecordParticulars, Problem> {
    let mut moment = ReadTransaction::begin(app.store.reader()).await?;
    let missing = || Problem::not_found("application");
    let kept = store::particulars::kept(&mut moment, application.id).await?.ok_or_else(missing)?;
    let additions = store::additions::list(&mut *moment, application.id).await?;
    let Kept { particulars, sha256, texts, destroyed, journal_seq, journal_hash } = kept;
    let fixed_at_writing = particulars.is_some();
    let mut since = standing(&mut *moment, application).await?;
    since.retain(|section| !application.tells_of(*section));
    let sections_since = if since.is_empty() {
        Vec::new()
    } else {
        let named = Named { sections: since, ..named(application, app.clock.now()) };
        let world = world::load_named(&mut moment, &named).await?;
        particulars::of(&named, &world)?.0.sections
    };
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
        sections_since,
        texts,
        journal_seq,
        journal_hash,
        additions,
    })
}

/// Which law a record is held against. Rule sets that were confirmed for its day after it was written count as those do that
/// stood when it was written, and so do who worked there and what ground it was: what bound the work does not hang on when the
/// office learned of it.
pub async fn of_the_day(app: &App, application: &ApplicationView, stood: &Particulars) -> Result<OfTheDay, Problem> {
    let site = site::on(app.store.reader(), application.property_id, application.applied_on).await?;
    let place = site.ok_or_else(|| Problem::not_found("property"))?.place;
    let mut rule_sets = stood.rule_sets.clone();
    rule_sets.extend(place.rule_sets.into_iter().filter(|code| !stood.rule_sets.contains(code)));
    let bound = |audience, kind| {
        // How large the lawn is decides no duty of a record.
        let ground = SiteFacts { kind, plan_on: place.nutrient_plan_on, area: Area::ZERO };
        Bound { audience, site: Some(ground), pesticide: stood.product.pesticide.is_some() }
    };
    Ok(OfTheDay {
        rule_sets,
        bound: bound(stood.worked_by.unwrap_or(place.worked_by), stood.kind.or(place.kind)),
        learned: Some(bound(place.worked_by, place.kind)),
    })
}

/// What a record lacks by the law of its day, with everything that was added since and by the last word on it.
pub async fn gaps_of(
    app: &App,
    application: &ApplicationView,
    told: &RecordParticulars,
    asked: &OfTheDay,
) -> Result<Vec<RecordGap>, Problem> {
    let mut known = Known::default();
    known.fixed(&told.particulars, told.texts.as_ref());
    known.sections(&told.sections_since);
    known.weather(&application.weather);
    known.weather(&weather::of_record(app, application.id).await?.weather);
    let later = told.additions.iter();
    application.seen.iter().chain(later.clone().filter_map(|one| one.seen.as_ref())).for_each(|seen| known.seen(seen));
    for addition in later {
        if let Some(particulars) = &addition.particulars {
            known.fixed(particulars, addition.texts.as_ref());
        }
    }
    known.stand(&standing(app.store.reader(), application).await?);
    let written = Written {
        on: application.applied_on,
        finished_at: application.finished_at,
        received_at: application.received_at,
        after_the_day: application.late == Some(true),
    };
    let mut found = gaps(&known, written, asked, &app.law());
    // That it came late stays on the record, with the word that was added; it is not left to do.
    let explained = told.additions.iter().any(|one| one.explains == Some(AdditionExplains::LateEntry));
    found.retain(|gap| gap.kind != GapKind::Late || !explained);
    Ok(found)
}
