//! Everything that a record tells beside its amounts: what was fixed when it was written, or, of the records of earlier
//! versions, what the book says of their day, and what was added since.

mod former;

use std::collections::{HashMap, hash_map::Entry};

use domain::{
    dated::Stood,
    facts::SiteFacts,
    ids::{ApplicationId, PropertyId, SectionId},
    law::{Bound, Lawbook},
    quantity::Area,
    time::Instant,
    weather::Weather,
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
    book::site::{self, PlaceOnDay},
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
};

pub use former::{
    keep_corrections, keep_measurements, keep_particulars, keep_records, keep_sighting, keep_soil_reports,
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
    /// Sections that only a correction names, or whose ground it took anew when nothing of the record stood there any more, as they were
    /// fixed when it was written.
    #[schema(max_items = 20)]
    pub sections_since: Vec<SectionThen>,
    /// Those of them that corrections of earlier versions name, with which nothing was fixed: what is shown is what the book says by now
    /// of the day of the work.
    #[schema(max_items = 20)]
    pub sections_not_fixed: Vec<SectionId>,
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
pub fn named(application: &ApplicationView, known_at: Instant) -> Named<'_> {
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
    let lines = if application.correction_ids.is_empty() {
        Vec::new()
    } else {
        store::applications::corrections(executor, EVERY, Some(application.id), None, Scope::Company).await?
    };
    let lines = lines.last().map_or(&application.lines, |last| &last.item.lines);
    Ok(lines.iter().map(|line| line.section_id).collect())
}

/// Every correction of a record: there are few.
const EVERY: PageRequest = PageRequest { after: 0, take: 1000 };

/// A record with everything that the book has about it: what it tells, which law it is held against, and what it lacks.
#[derive(Debug)]
pub struct Whole {
    pub told: RecordParticulars,
    pub asked: OfTheDay,
    pub gaps: Vec<RecordGap>,
}

/// What a record tells. The caller has seen to it that whoever asks may know the record.
pub async fn of_record(app: &App, application: &ApplicationView) -> Result<RecordParticulars, Problem> {
    Ok(Shelf::of(app, &[application.id]).await?.told(application).await?.0)
}

/// The same, held against the law of its day.
pub async fn whole(app: &App, application: &ApplicationView) -> Result<Whole, Problem> {
    Shelf::of(app, &[application.id]).await?.whole(application, &app.law()).await
}

/// What the book has about some records, read at one moment and with one statement for all of them: a year's statement asks about
/// dozens.
#[derive(Debug)]
pub struct Shelf {
    moment: ReadTransaction,
    now: Instant,
    kept: HashMap<ApplicationId, Kept>,
    additions: HashMap<ApplicationId, Vec<Addition>>,
    weather: HashMap<ApplicationId, Weather>,
    places: HashMap<PropertyId, Stood<PlaceOnDay>>,
}

impl Shelf {
    pub async fn of(app: &App, records: &[ApplicationId]) -> Result<Self, Problem> {
        let mut moment = ReadTransaction::begin(app.store.reader()).await?;
        Ok(Self {
            now: app.clock.now(),
            kept: store::particulars::kept(&mut moment, records).await?,
            additions: store::additions::list(&mut *moment, records).await?,
            weather: store::weather::facts(&mut moment, records).await?,
            places: HashMap::new(),
            moment,
        })
    }

    pub async fn whole(&mut self, application: &ApplicationView, law: &Lawbook) -> Result<Whole, Problem> {
        Ok(self.by_two(application, law, None).await?.0)
    }

    /// The same, and what the record lacks by the law of another time, if that is asked.
    pub async fn by_two(
        &mut self,
        application: &ApplicationView,
        law: &Lawbook,
        other: Option<&Lawbook>,
    ) -> Result<(Whole, Option<Vec<RecordGap>>), Problem> {
        let (told, standing) = self.told(application).await?;
        let asked = self.of_the_day(application, &told.particulars).await?;
        let lacks = |law| lacking(application, &told, (self.weather.get(&application.id), &standing), (&asked, law));
        let (gaps, by_other) = (lacks(law), other.map(lacks));
        Ok((Whole { told, asked, gaps }, by_other))
    }

    /// What a record tells, and the sections on which something stands by the last word on it.
    async fn told(&mut self, application: &ApplicationView) -> Result<(RecordParticulars, Vec<SectionId>), Problem> {
        let kept = self.kept.remove(&application.id).ok_or_else(|| Problem::not_found("application"))?;
        let Kept { particulars, sections_since: fixed, sha256, texts, destroyed, journal_seq, journal_hash } = kept;
        let fixed_at_writing = particulars.is_some();
        let standing = standing(&mut *self.moment, application).await?;
        let mut since = standing.clone();
        let taken_anew = |section: &SectionId| fixed.iter().any(|one| one.section_id == *section);
        since.retain(|section| !application.tells_of(*section) || taken_anew(section));
        let (sections_since, sections_not_fixed) = self.since(application, since, fixed).await?;
        let (particulars, texts) = if let Some(fixed) = particulars {
            (fixed, texts.filter(|_| !destroyed))
        } else {
            let named = named(application, application.received_at);
            let world = world::load_named(&mut self.moment, &named).await?;
            let (stood, told) = particulars::of(&named, &world)?;
            // The name of whoever did the work was written with it.
            let applicator = Some(application.person_name.clone());
            let (notes, reason) = (application.notes.clone(), application.reason.clone());
            (stood, Some(PersonalTexts { applicator, notes, reason, ..told }))
        };
        let told = RecordParticulars {
            application_id: application.id,
            fixed_at_writing,
            particulars_sha256: sha256,
            particulars,
            sections_since,
            sections_not_fixed,
            texts,
            journal_seq,
            journal_hash,
            additions: self.additions.remove(&application.id).unwrap_or_default(),
        };
        Ok((told, standing))
    }

    /// What stood of sections that only corrections name: as it was fixed with them, or by the book of now, and of which it is the latter.
    async fn since(
        &mut self,
        application: &ApplicationView,
        named_since: Vec<SectionId>,
        fixed: Vec<SectionThen>,
    ) -> Result<(Vec<SectionThen>, Vec<SectionId>), Problem> {
        // A section that was taken back may have been named anew: the last word on it stands.
        let told: HashMap<SectionId, SectionThen> = fixed.into_iter().map(|one| (one.section_id, one)).collect();
        let unfixed: Vec<SectionId> = named_since.iter().filter(|id| !told.contains_key(id)).copied().collect();
        let mut by_now = HashMap::new();
        if !unfixed.is_empty() {
            let named = Named { sections: unfixed.clone(), ..named(application, self.now) };
            let world = world::load_named(&mut self.moment, &named).await?;
            let sections = particulars::of(&named, &world)?.0.sections;
            by_now.extend(sections.into_iter().map(|one| (one.section_id, one)));
        }
        let sections = named_since.iter().filter_map(|id| told.get(id).or_else(|| by_now.get(id)).cloned());
        Ok((sections.collect(), unfixed))
    }

    /// Which law a record is held against. Rule sets that were confirmed for its day after it was written count as those do that
    /// stood when it was written, and so do who worked there and what ground it was: what bound the work does not hang on when the
    /// office learned of it.
    async fn of_the_day(&mut self, application: &ApplicationView, stood: &Particulars) -> Result<OfTheDay, Problem> {
        let place = match self.places.entry(application.property_id) {
            Entry::Occupied(known) => known.into_mut(),
            Entry::Vacant(unknown) => {
                let read = site::places(&mut self.moment, application.property_id).await?;
                unknown.insert(read.ok_or_else(|| Problem::not_found("property"))?)
            }
        };
        let place = place.on(application.applied_on);
        let mut rule_sets = stood.rule_sets.clone();
        rule_sets.extend(place.rule_sets.iter().filter(|code| !stood.rule_sets.contains(code)).cloned());
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
}

/// What a record lacks by the law of its day, with everything that was added since and by the last word on it.
fn lacking(
    application: &ApplicationView,
    told: &RecordParticulars,
    (services, standing): (Option<&Weather>, &[SectionId]),
    (asked, law): (&OfTheDay, &Lawbook),
) -> Vec<RecordGap> {
    let mut known = Known::default();
    known.fixed(&told.particulars, told.texts.as_ref());
    known.sections(&told.sections_since);
    known.weather(&application.weather);
    if let Some(weather) = services {
        known.weather(weather);
    }
    let later = told.additions.iter();
    application.seen.iter().chain(later.clone().filter_map(|one| one.seen.as_ref())).for_each(|seen| known.seen(seen));
    for addition in later {
        if let Some(particulars) = &addition.particulars {
            known.fixed(particulars, addition.texts.as_ref());
        }
    }
    known.stand(standing);
    let written = Written {
        on: application.applied_on,
        finished_at: application.finished_at,
        received_at: application.received_at,
        after_the_day: application.late == Some(true),
    };
    let mut found = gaps(&known, written, asked, law);
    // That it came late stays on the record, with the word that was added; it is not left to do.
    let explained = told.additions.iter().any(|one| one.explains == Some(AdditionExplains::LateEntry));
    found.retain(|gap| gap.kind != GapKind::Late || !explained);
    found
}
