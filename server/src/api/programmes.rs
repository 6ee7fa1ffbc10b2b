//! Programmes: what the company means to do with its lawns in a season.

use std::collections::HashSet;

use axum::{Json, extract::State, response::Response};
use domain::{
    explain::SourceMark,
    ids::{self, ProductId, ProgrammeId},
    land::Species,
    programme::{
        published::{Maintenance, Published},
        schedules::{PUBLISHED, published},
    },
    quantity::NutrientRate,
};
use serde::Serialize;
use sqlx::SqliteConnection;
use utoipa::ToSchema;

use crate::{
    access::{AnyStaff, OfficeOrOwner},
    api::{ListQuery, whole},
    book::office::{self, IdempotentRequest},
    extract::{IdempotencyKey, IfMatch, IfNoneMatch, PathId, Valid, ValidQuery},
    paging::Page,
    problem::{FieldFault, Problem},
    reply::{self, Created},
    routes::{Routes, routes},
    scope::Scope,
    state::App,
    store::{
        self,
        journal::JournalContext,
        products::{Product, ProductStatus},
        programmes::{Programme, ProgrammeInput, ProgrammeNeed},
    },
};

pub fn routes() -> Routes {
    routes!(create_programme, list_programmes, get_programme, replace_programme, list_published_programmes)
}

/// The longest round, in days.
const ROUND: i32 = 180;

fn round_faults(input: &ProgrammeInput) -> Vec<FieldFault> {
    let names = input.rounds.iter().map(|round| round.name.as_str());
    let detail = "is the name of another round; visits know a round by its name";
    let mut faults = FieldFault::repeats(names, |at| format!("/rounds/{at}/name"), detail);
    for (at, round) in input.rounds.iter().enumerate() {
        if i64::from(round.from.year()) != input.season_year {
            let detail = format!("must lie in {}, the year of the season", input.season_year);
            faults.push(FieldFault::at(format!("/rounds/{at}/from"), "out_of_range", detail));
        }
        if !(0..=ROUND).contains(&round.to.days_since(round.from)) {
            let detail = format!("must not lie before the beginning, nor more than {ROUND} days after it");
            faults.push(FieldFault::at(format!("/rounds/{at}/to"), "out_of_range", detail));
        }
    }
    faults
}

/// More of a nutrient is a slip: ten pounds on a square foot, as of product.
const MOST_NEEDED: NutrientRate = NutrientRate::from_raw(10_000_000_000);

/// What contradicts itself in one need.
fn need_faults(at: usize, need: &ProgrammeNeed) -> Vec<FieldFault> {
    let mut faults = Vec::new();
    let mut fault = |member: &str, code: &str, detail: &str| {
        faults.push(FieldFault::at(format!("/needs/{at}/{member}"), code, detail.to_owned()));
    };
    let figures = [need.nitrogen_lb_per_1000_sqft, need.phosphate_lb_per_1000_sqft, need.potash_lb_per_1000_sqft];
    match (&need.published, need.nitrogen_lb_per_1000_sqft) {
        (None, None) => fault(
            "published",
            "incomplete",
            "give a published program, or nitrogen_lb_per_1000_sqft with what it rests on",
        ),
        (Some(_), Some(_)) => {
            fault("nitrogen_lb_per_1000_sqft", "contradiction", "is given only without a published program");
        }
        (Some(name), None) => match published(name) {
            None => fault(
                "published",
                "unknown_value",
                "names no program that was read; take a name from the list of published programs",
            ),
            Some(known) if need.species.is_some_and(|species| !known.species.contains(&species)) => {
                fault("species", "contradiction", "is not among the turf that the published program is for");
            }
            Some(_) => {}
        },
        (None, Some(_)) => {}
    }
    let named = ["nitrogen", "phosphate", "potash"].into_iter().zip(figures);
    for (nutrient, _) in named.filter(|(_, figure)| figure.is_some_and(|figure| figure > MOST_NEEDED)) {
        let detail = format!("is more than {MOST_NEEDED} lb on 1,000 sq ft, which no lawn needs");
        fault(&format!("{nutrient}_lb_per_1000_sqft"), "out_of_range", &detail);
    }
    match (figures.iter().any(Option::is_some), &need.because) {
        (true, None) => fault("because", "missing", "is required with a figure: say what it rests on"),
        (false, Some(_)) => fault("because", "contradiction", "is given only with a figure"),
        _ => {}
    }
    if need.section_id.is_some() && (need.species.is_some() || need.maintenance.is_some()) {
        fault("section_id", "contradiction", "names one section already; leave species and level out");
    }
    faults
}

/// What contradicts itself in a programme.
fn faults(input: &ProgrammeInput) -> Vec<FieldFault> {
    let mut faults = round_faults(input);
    faults.extend(input.needs.iter().enumerate().flat_map(|(at, need)| need_faults(at, need)));
    let needs = input.needs.iter().map(|need| (need.section_id, need.species, need.maintenance));
    let place = |at| format!("/needs/{at}");
    faults.extend(FieldFault::repeats(needs, place, "is for the same sections as an earlier one"));
    let technicians = input.technicians.iter().map(|technician| technician.person_id);
    let place = |at| format!("/technicians/{at}/person_id");
    faults.extend(FieldFault::repeats(technicians, place, "stands in the list already"));
    let products = input.products.iter().map(|product| product.product_id);
    let place = |at| format!("/products/{at}/product_id");
    faults.extend(FieldFault::repeats(products, place, "stands in the list already"));
    faults
}

/// What is wrong with a product that a programme names, as the book has it.
fn product_fault(at: usize, product: Option<&Product>) -> Option<FieldFault> {
    let pointer = format!("/products/{at}/product_id");
    match product {
        None => Some(FieldFault::at(pointer, "not_found", "names no product of this company")),
        Some(product) if product.status == ProductStatus::Retired => {
            Some(FieldFault::at(pointer, "not_active", "is retired; plan with another product"))
        }
        Some(_) => None,
    }
}

/// What a programme names that the book does not have, or that is not to be used any more unless it is kept.
async fn book_faults(
    connection: &mut SqliteConnection,
    input: &ProgrammeInput,
    kept: &HashSet<ProductId>,
) -> Result<Vec<FieldFault>, Problem> {
    let mut faults = Vec::new();
    for (at, product) in input.products.iter().enumerate() {
        let known = store::products::get(&mut *connection, product.product_id).await?;
        let fault = product_fault(at, known.as_ref());
        faults.extend(fault.filter(|_| !kept.contains(&product.product_id)));
    }
    for (at, technician) in input.technicians.iter().enumerate() {
        if store::people::get(&mut *connection, technician.person_id).await?.is_none() {
            let pointer = format!("/technicians/{at}/person_id");
            faults.push(FieldFault::at(pointer, "not_found", "names nobody of the staff"));
        }
    }
    for (at, section) in input.needs.iter().enumerate().filter_map(|(at, need)| Some((at, need.section_id?))) {
        if store::sections::get(&mut *connection, section, Scope::Company).await?.is_none() {
            let pointer = format!("/needs/{at}/section_id");
            faults.push(FieldFault::at(pointer, "not_found", "names no lawn section of this company"));
        }
    }
    Ok(faults)
}

/// Create a programme
///
/// The season's rounds, the products that may be used with their prices, and what the lawns need: by a published programme
/// and the lawn's level, or as the office enters it. Phosphate and potash come from each section's latest soil report.
#[utoipa::path(post, path = "/api/v1/programmes", operation_id = "create_programme", tag = "programmes",
    security(("bearer" = ["office", "owner"])), params(IdempotencyKey), request_body = ProgrammeInput,
    responses((status = 201, description = "Written.", body = Programme, headers(("Location" = String, description = "Where it is.")))))]
pub async fn create_programme(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    key: IdempotencyKey,
    Valid { value, fingerprint }: Valid<ProgrammeInput>,
) -> Result<Created, Problem> {
    let mut faults = faults(&value);
    let at = app.clock.now();
    let id: ProgrammeId = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "programme.added", subject: id.uuid() };
    let repeat = IdempotentRequest { key, route: "create_programme", fingerprint };
    office::create(&app, deed, repeat, format!("/api/v1/programmes/{id}"), move |connection| {
        Box::pin(async move {
            faults.extend(book_faults(&mut *connection, &value, &HashSet::new()).await?);
            whole(faults)?;
            Ok(store::programmes::insert(connection, id, &value, at).await?)
        })
    })
    .await
}

/// List programmes
///
/// In the order in which they were written.
#[utoipa::path(get, path = "/api/v1/programmes", operation_id = "list_programmes", tag = "programmes",
    security(("bearer" = ["office", "owner"])), params(ListQuery),
    responses((status = 200, description = "A page of programmes.", body = Page<Programme>)))]
async fn list_programmes(
    _: OfficeOrOwner,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<Programme>>, Problem> {
    let span = app.cursors.span("programmes", &query, false)?;
    let rows = store::programmes::list(app.store.reader(), span).await?;
    Ok(Json(app.cursors.page("programmes", &query, rows)))
}

/// Get a programme
///
/// With the version that a change must name.
#[utoipa::path(get, path = "/api/v1/programmes/{id}", operation_id = "get_programme", tag = "programmes",
    security(("bearer" = ["office", "owner"])), params(("id" = ProgrammeId, Path, description = "The programme.")),
    responses((status = 304, description = "You have this version already."), (status = 200, description = "The programme.", body = Programme)))]
async fn get_programme(
    _: OfficeOrOwner,
    State(app): State<App>,
    known: IfNoneMatch,
    PathId(id): PathId<ids::Programme>,
) -> Result<Response, Problem> {
    let programme = store::programmes::get(app.store.reader(), id).await?;
    Ok(reply::json_with_etag(&known, &programme.ok_or_else(|| Problem::not_found("program"))?))
}

/// Replace a programme
///
/// Replaces it whole. A round for which visits were planned keeps its name, by which they know it.
#[utoipa::path(put, path = "/api/v1/programmes/{id}", operation_id = "replace_programme", tag = "programmes",
    security(("bearer" = ["office", "owner"])), params(("id" = ProgrammeId, Path, description = "The programme."), IfMatch),
    request_body = ProgrammeInput, responses((status = 200, description = "Changed.", body = Programme)))]
pub async fn replace_programme(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Programme>,
    if_match: IfMatch,
    Valid { value, .. }: Valid<ProgrammeInput>,
) -> Result<Json<Programme>, Problem> {
    let mut faults = faults(&value);
    let deed = JournalContext { actor: Some(actor), at: app.clock.now(), act: "programme.changed", subject: id.uuid() };
    let changed = office::change(&app, deed, move |connection| {
        Box::pin(async move {
            let before = store::programmes::get(&mut *connection, id).await?;
            let before = before.ok_or_else(|| Problem::not_found("program"))?;
            let kept: HashSet<_> = before.products.iter().map(|product| product.product_id).collect();
            // A product that was retired meanwhile may stay: nothing is planned with it.
            faults.extend(book_faults(&mut *connection, &value, &kept).await?);
            for used in store::programmes::rounds_in_use(&mut *connection, id).await? {
                if !value.rounds.iter().any(|round| round.name == used) {
                    let detail = format!("must keep the round {used}: visits were planned for it");
                    faults.push(FieldFault::at("/rounds", "fixed", detail));
                }
            }
            whole(faults)?;
            store::programmes::update(connection, id, &value, if_match.versions).await?.or_problem("program")
        })
    });
    changed.await.map(Json)
}

/// A programme as an extension service prints it.
#[derive(Debug, Serialize, ToSchema)]
struct PublishedProgramme {
    #[schema(max_length = 120)]
    name: &'static str,
    #[schema(max_items = 20)]
    species: &'static [Species],
    /// Nitrogen of the year at each level.
    #[schema(max_items = 3)]
    levels: Vec<LevelNeed>,
    #[schema(max_items = 24)]
    steps: Vec<PublishedStep>,
    /// What the source states as the most in a year.
    year_at_most_lb_per_1000_sqft: Option<NutrientRate>,
    #[schema(max_length = 300)]
    source: &'static str,
    mark: SourceMark,
}

#[derive(Debug, Serialize, ToSchema)]
struct LevelNeed {
    maintenance: Maintenance,
    nitrogen_lb_per_1000_sqft: NutrientRate,
}

/// One application of it. Month and day as `MM-DD`.
#[derive(Debug, Serialize, ToSchema)]
struct PublishedStep {
    #[schema(max_length = 5, example = "09-01")]
    from: String,
    #[schema(max_length = 5, example = "09-30")]
    to: String,
    least_nitrogen_lb_per_1000_sqft: NutrientRate,
    most_nitrogen_lb_per_1000_sqft: NutrientRate,
    optional: bool,
    /// What it asks of the nitrogen's release; null where the source says nothing of it.
    #[schema(max_length = 120)]
    release: Option<String>,
}

#[derive(Debug, Serialize, ToSchema)]
struct PublishedProgrammes {
    #[schema(max_items = 200)]
    items: Vec<PublishedProgramme>,
}

fn shown(programme: &Published) -> PublishedProgramme {
    let level = |maintenance| LevelNeed { maintenance, nitrogen_lb_per_1000_sqft: programme.at_level(maintenance) };
    let day = |(month, day): (i8, i8)| format!("{month:02}-{day:02}");
    PublishedProgramme {
        name: programme.name,
        species: programme.species,
        levels: [Maintenance::Low, Maintenance::Medium, Maintenance::High].map(level).into(),
        steps: programme
            .steps
            .iter()
            .map(|step| PublishedStep {
                from: day(step.from),
                to: day(step.to),
                least_nitrogen_lb_per_1000_sqft: step.least(),
                most_nitrogen_lb_per_1000_sqft: step.most(),
                optional: step.optional,
                release: step.release_words(),
            })
            .collect(),
        year_at_most_lb_per_1000_sqft: programme.year_at_most(),
        source: programme.source,
        mark: programme.mark,
    }
}

/// List published programmes
///
/// Season programmes as extension services print them, each with its source and how it was read: what a need may be taken
/// from. Low takes the least of the steps that the source does not call optional, medium the most of them, high all steps.
#[utoipa::path(get, path = "/api/v1/published-programmes", operation_id = "list_published_programmes", tag = "programmes",
    security(("bearer" = ["any staff"])),
    responses((status = 200, description = "All that were read.", body = PublishedProgrammes)))]
async fn list_published_programmes(_: AnyStaff) -> Json<PublishedProgrammes> {
    Json(PublishedProgrammes { items: PUBLISHED.iter().map(shown).collect() })
}
