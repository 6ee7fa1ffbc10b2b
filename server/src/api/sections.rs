//! Lawn sections.

use axum::{Json, extract::State, response::Response};
use domain::{
    ids::{self, PropertyId, SectionId},
    time::Day,
};
use serde::{Deserialize, Serialize};

use crate::{
    access::{OfficeOrOwner, StaffOrPass},
    api::{
        history::{Made, Turn, note_moves, since, since_of_new, sound_change},
        last_past_day, not_yet, whole,
    },
    book::{
        doubts::Before,
        history,
        office::{self, IdempotentRequest},
    },
    extract::{IdempotencyKey, IfMatch, IfNoneMatch, PathId, Valid, ValidQuery},
    paging::{Page, Paged},
    problem::{FieldFault, Problem},
    reply::{self, Created},
    routes::{Routes, routes},
    scope::Scope,
    state::App,
    store::{
        self,
        doubts::Cause,
        history::Subject,
        journal::JournalContext,
        sections::{NearWater, Section, SectionInput},
    },
};

pub fn routes() -> Routes {
    routes!(create_section, list_sections, get_section, replace_section)
}

#[derive(Debug, Clone, Serialize, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct SectionFilter {
    /// Only those of this property.
    #[serde(default)]
    property_id: Option<PropertyId>,
}

type SectionQuery = Paged<SectionFilter>;

/// What contradicts itself in a section.
pub(super) fn faults(input: &SectionInput, last: Day) -> Vec<FieldFault> {
    let mut faults = Vec::new();
    match (input.water, input.water_distance_ft) {
        (NearWater::Near, None) => {
            let detail = "is required when water, or a drain or curb that counts like it, is near; measure it";
            faults.push(FieldFault::at("/water_distance_ft", "missing", detail));
        }
        (NearWater::None | NearWater::Unknown, Some(_)) => {
            let detail = "is given only when water is near";
            faults.push(FieldFault::at("/water_distance_ft", "contradiction", detail));
        }
        _ => {}
    }
    if let Some(strip) = input.natural_strip_ft {
        let between = "lies between lawn and water, and";
        if input.water == NearWater::None && !strip.is_zero() {
            let detail = format!("{between} the section is said to have no water");
            faults.push(FieldFault::at("/natural_strip_ft", "contradiction", detail));
        }
        if input.water_distance_ft.is_some_and(|distance| strip > distance) {
            let detail = format!("{between} cannot be wider than the distance to the water");
            faults.push(FieldFault::at("/natural_strip_ft", "contradiction", detail));
        }
    }
    faults.extend(input.established_on.and_then(|day| not_yet("/established_on", day, last)));
    faults
}

/// Create a lawn section
///
/// To a property. Its area comes from a measurement, which is added to it.
#[utoipa::path(post, path = "/api/v1/sections", operation_id = "create_section", tag = "sections",
    security(("bearer" = ["office", "owner"])), params(IdempotencyKey), request_body = SectionInput,
    responses((status = 201, description = "Added.", body = Section, headers(("Location" = String, description = "Where it is.")))))]
pub async fn create_section(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    key: IdempotencyKey,
    Valid { value, fingerprint }: Valid<SectionInput>,
) -> Result<Created, Problem> {
    let mut faults = faults(&value, last_past_day(&app).await?);
    faults.extend(since_of_new(value.since));
    let at = app.clock.now();
    let id: SectionId = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "section.added", subject: id.uuid() };
    let repeat = IdempotentRequest { key, route: "create_section", fingerprint };
    office::create(&app, deed, repeat, format!("/api/v1/sections/{id}"), move |connection| {
        Box::pin(async move {
            if store::properties::get(&mut *connection, value.property_id, Scope::Company).await?.is_none() {
                faults.push(FieldFault::at("/property_id", "not_found", "names no property of this company"));
            }
            whole(faults)?;
            Ok(store::sections::insert(connection, id, &value, actor.person, at).await?)
        })
    })
    .await
}

/// List lawn sections
///
/// In the order in which they were added, of all properties or of one. A technician sees those on the own visits.
#[utoipa::path(get, path = "/api/v1/sections", operation_id = "list_sections", tag = "sections",
    security(("bearer" = ["any staff", "pass"])), params(SectionQuery),
    responses((status = 200, description = "A page of sections.", body = Page<Section>)))]
async fn list_sections(
    staff: StaffOrPass,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<SectionQuery>,
) -> Result<Json<Page<Section>>, Problem> {
    let span = app.cursors.span("sections", &query, false)?;
    let rows = store::sections::list(app.store.reader(), span, query.property_id, staff.scope()).await?;
    Ok(Json(app.cursors.page("sections", &query, rows)))
}

/// Get a lawn section
///
/// With its present area and the version that a change must name.
#[utoipa::path(get, path = "/api/v1/sections/{id}", operation_id = "get_section", tag = "sections",
    security(("bearer" = ["any staff", "pass"])), params(("id" = SectionId, Path, description = "The section.")),
    responses((status = 304, description = "You have this version already."), (status = 200, description = "The section.", body = Section)))]
async fn get_section(
    staff: StaffOrPass,
    State(app): State<App>,
    known: IfNoneMatch,
    PathId(id): PathId<ids::Section>,
) -> Result<Response, Problem> {
    let section = store::sections::get(app.store.reader(), id, staff.scope())
        .await?
        .ok_or_else(|| Problem::not_found("lawn section"))?;
    Ok(reply::json_with_etag(&known, &section))
}

/// Replace a lawn section
///
/// Replaces everything that the office writes about it, except its property. Area is changed by a new measurement.
/// What is changed holds from `since` on; earlier days keep what stood then.
#[utoipa::path(put, path = "/api/v1/sections/{id}", operation_id = "replace_section", tag = "sections",
    security(("bearer" = ["office", "owner"])), params(("id" = SectionId, Path, description = "The section."), IfMatch),
    request_body = SectionInput, responses((status = 200, description = "Changed.", body = Section)))]
pub async fn replace_section(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
    if_match: IfMatch,
    Valid { value, .. }: Valid<SectionInput>,
) -> Result<Json<Section>, Problem> {
    let at = app.clock.now();
    let mut faults = faults(&value, last_past_day(&app).await?);
    let is_named = value.since.is_some();
    let (since, in_future) = since(&app, value.since).await?;
    faults.extend(in_future);
    let entry = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "section.changed", subject: id.uuid() };
    let (book, last) = (app.clone(), last_past_day(&app).await?);
    let changed = office::change(&app, deed, move |connection| {
        Box::pin(async move {
            let before = store::sections::get(&mut *connection, id, Scope::Company).await?;
            let before = before.ok_or_else(|| Problem::not_found("lawn section"))?;
            if before.property_id != value.property_id {
                let detail = "a section stays on its property, because records count on it; add a new section instead";
                faults.push(FieldFault::at("/property_id", "fixed", detail));
            }
            let change =
                history::weigh(connection, Subject::Section(id), value.facts()?, (since, is_named), &mut faults)
                    .await?;
            whole(faults)?;
            let turn = sound_change(&mut *connection, &book, change.as_ref(), last).await?;
            let doubts = match &turn {
                Some(Turn { before, after }) => {
                    Before::of_turn(&mut *connection, &book, (Subject::Section(id), before, after), (since, at)).await?
                }
                None => None,
            };
            let done = store::sections::update(&mut *connection, id, &value, if_match.versions)
                .await?
                .or_problem("lawn section")?;
            if let Some((change, turn)) = change.zip(turn) {
                history::enter(&mut *connection, change, entry, deed).await?;
                let made = Made { entry: entry.uuid(), reason: None, today: last };
                note_moves(connection, &book, Subject::Section(id), &turn, made, deed).await?;
                if let Some(doubts) = doubts {
                    doubts.note(connection, &book, Cause::Entry(entry.uuid()), deed).await?;
                }
            }
            Ok(done)
        })
    });
    changed.await.map(Json)
}
