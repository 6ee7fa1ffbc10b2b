//! Measurements of lawn sections.

use axum::{Json, extract::State};
use domain::{
    actor::Role,
    ids::{self, MeasurementId, SectionId},
    quantity::Area,
    time::Day,
};

use crate::{
    access::{AnyStaff, OfficeOrOwner, StaffOrPass},
    api::{ListQuery, correction, fingerprint_at, last_past_day, not_yet, whole},
    book::{
        self,
        doubts::Before,
        limit_moves::{self, Place},
        measurements::MeasurementDerivation,
        office::{self, IdempotentRequest},
        particulars::keep_measurements,
    },
    extract::{IdempotencyKey, PathId, Valid, ValidQuery},
    paging::Page,
    problem::{FieldFault, Kind, Problem},
    reply::Created,
    routes::{Routes, routes},
    scope::Scope,
    state::App,
    store::{
        self,
        doubts::Cause,
        journal::JournalContext,
        limit_moves::MovedBy,
        measurements::{
            Measured, Measurement, MeasurementInput,
            confirmations::{self, ConfirmationInput},
        },
    },
};

pub fn routes() -> Routes {
    routes!(record_measurement, list_measurements, get_measurement, get_measurement_derivation, confirm_measurement)
}

/// Record a measurement
///
/// A section's area from a day on: entered as one figure, or worked out by the server from taped figures and outlines on the
/// map, added and taken off, less the ground that lies too near to water. Every bad part is told with its corner. It
/// supersedes the earlier ones and leaves their records as they are. One that is wrong in its area or its day is corrected by one that
/// names it and says why: it stays to be read and counts no more, and statements of past years say so. One that was entered on the wrong lawn
/// is corrected by `not_of_this_lawn`, and counts nowhere here. A technician measures the sections on the own visits; what makes
/// a lawn larger than it was waits until the office has confirmed it, and stands on the owner's list; so does the first
/// measurement of a section, which counts meanwhile.
#[utoipa::path(post, path = "/api/v1/sections/{id}/measurements", operation_id = "record_measurement", tag = "sections",
    security(("bearer" = ["any staff"])), params(("id" = SectionId, Path, description = "The section."), IdempotencyKey),
    request_body = MeasurementInput,
    responses((status = 201, description = "Added.", body = Measurement, headers(("Location" = String, description = "Where it is.")))))]
pub async fn record_measurement(
    staff: AnyStaff,
    State(app): State<App>,
    key: IdempotencyKey,
    PathId(section): PathId<ids::Section>,
    Valid { value, fingerprint }: Valid<MeasurementInput>,
) -> Result<Created, Problem> {
    if staff.0.role == Role::Technician && value.corrects.is_some() {
        let detail = "The office corrects a measurement. Measure again, and a smaller area counts at once.";
        return Err(Problem::new(Kind::NotAllowed, detail));
    }
    let last = last_past_day(&app).await?;
    let at = app.clock.now();
    let id: MeasurementId = app.ids.next(at);
    let deed = JournalContext { actor: Some(staff.0), at, act: "measurement.added", subject: id.uuid() };
    let repeat =
        IdempotentRequest { key, route: "record_measurement", fingerprint: fingerprint_at(section, &fingerprint) };
    let (measured, value) = measured(&app, staff.scope(), section, value).await?;
    let book = app.clone();
    office::create(&app, deed, repeat, format!("/api/v1/measurements/{id}"), move |connection| {
        Box::pin(async move {
            let known = store::sections::get(&mut *connection, section, staff.scope()).await?;
            let known = known.ok_or_else(|| Problem::not_found("lawn section"))?;
            // A repeated request gets its first answer, whatever would be found today.
            let (measured, mut faults) = match measured {
                Some(Ok(measured)) => (Some(measured), Vec::new()),
                Some(Err(faults)) => (None, faults),
                None => (None, Vec::new()),
            };
            faults.extend(not_yet("/measured_on", value.measured_on, last));
            let corrected = match value.corrects {
                Some(id) => store::measurements::get(&mut *connection, id, Scope::Company).await?,
                None => None,
            };
            let freed = corrected.as_ref().map(|known| known.measured_on);
            let days: Vec<Day> = [Some(value.measured_on), freed].into_iter().flatten().collect();
            faults.extend(place_of(section, &value, corrected));
            whole(faults)?;
            let mut measured = measured.ok_or_else(|| Problem::not_found("lawn section"))?;
            let since = freed.map_or(value.measured_on, |day| day.min(value.measured_on));
            let since = store::measurements::reaches_back_to(&mut *connection, section, since).await?;
            let doubts = Before::of(connection, &book, (section, since), at).await?;
            let before = limit_moves::areas(&mut *connection, section, &days).await?;
            let stood = before.first().and_then(|(_, area)| *area);
            (measured.waits, measured.to_confirm) = confirmation_needed(staff.0.role, stood, measured.area_sqft);
            let measurement = store::measurements::insert(&mut *connection, id, section, &value, &measured, at).await?;
            let after = limit_moves::areas(&mut *connection, section, &days).await?;
            if let Some(moved) = limit_moves::of_areas(&before, &after) {
                let place = Place::on(&known, id.uuid(), value.reason.clone());
                limit_moves::note(&mut *connection, book.ids.next(at), moved, place, deed).await?;
            }
            store::sections::remeasured(&mut *connection, section).await?;
            doubts.note(connection, &book, Cause::Measurement(id.uuid()), deed).await?;
            Ok(measurement)
        })
    })
    .await
}

/// What is wrong with the place that a measurement takes of another.
fn place_of(section: SectionId, value: &MeasurementInput, corrected: Option<Measurement>) -> Vec<FieldFault> {
    let corrected = corrected.filter(|known| known.section_id == section);
    let taken = corrected.as_ref().and_then(|known| known.corrected_by).map(|by| by.to_string());
    let named = (value.corrects.is_some(), corrected.is_some());
    let mut faults = correction(named, value.reason.as_deref(), taken);
    if value.not_of_this_lawn && value.corrects.is_none() {
        let detail = "is said of one that is on file; name it in `corrects`";
        faults.push(FieldFault::at("/not_of_this_lawn", "incomplete", detail));
    }
    let does_not_count = |known: &Measurement| known.confirmation.as_ref().is_some_and(|said| !said.holds);
    if corrected.as_ref().is_some_and(|known| known.to_confirm || does_not_count(known)) {
        let detail = "is one of which the office says whether it holds; say that it does not, and measure again";
        faults.push(FieldFault::at("/corrects", "contradiction", detail));
    }
    faults
}

/// Whether a measurement is held back until the office has looked at it, and whether the office is asked at all. A larger lawn
/// takes more product, and whoever would put it down must not decide that alone. The first of a section has nothing to be larger
/// than, and without it nothing at all may go down: it counts, and stands on the owner's list. A smaller one just counts.
fn confirmation_needed(role: Role, before: Option<Area>, measured: Area) -> (bool, bool) {
    let technician = role == Role::Technician;
    let waits = technician && before.is_some_and(|before| measured > before);
    (waits, waits || technician && before.is_none())
}

/// Confirm a measurement
///
/// Says whether a technician's measurement holds. From then on it counts, also for days that have been, or never. Said once; the
/// same again changes nothing. A large change that holds, and a figure that is hardly likely, stand on the owner's list; so does whatever
/// somebody confirms who measured it too, which takes a `note` that says why.
#[utoipa::path(put, path = "/api/v1/measurements/{id}/confirmation", operation_id = "confirm_measurement", tag = "sections",
    security(("bearer" = ["office", "owner"])), params(("id" = MeasurementId, Path, description = "The measurement.")),
    request_body = ConfirmationInput, responses((status = 200, description = "Kept.", body = Measurement)))]
pub async fn confirm_measurement(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Measurement>,
    Valid { value, .. }: Valid<ConfirmationInput>,
) -> Result<Json<Measurement>, Problem> {
    let at = app.clock.now();
    let act = if value.holds { "measurement.confirmed" } else { "measurement.rejected" };
    let deed = JournalContext { actor: Some(actor), at, act, subject: id.uuid() };
    let book = app.clone();
    let confirmed = office::change_once(&app, deed, move |connection| {
        Box::pin(async move {
            let missing = || Problem::not_found("measurement");
            let found = store::measurements::get(&mut *connection, id, Scope::Company).await?.ok_or_else(missing)?;
            match &found.confirmation {
                Some(said) if said.holds == value.holds && said.note == value.note => return Ok((found, false)),
                None if found.to_confirm => {}
                _ => {
                    let detail = "This measurement does not wait for anybody. Measure again if the area is another one now; \
                                  correct it if it is wrong.";
                    return Err(Problem::new(Kind::Conflict, detail));
                }
            }
            let is_own = confirmations::measured_by(&mut *connection, id).await? == Some(actor.person);
            if is_own && value.holds && value.note.is_none() {
                let detail = "is required: you measured this yourself, so say why nobody else confirms it";
                return Err(Problem::invalid(vec![FieldFault::at("/note", "missing", detail)]));
            }
            let (section, days) = (found.section_id, [found.measured_on]);
            let since = store::measurements::reaches_back_to(&mut *connection, section, found.measured_on).await?;
            let doubts = Before::of(&mut *connection, &book, (section, since), at).await?;
            let before = limit_moves::areas(&mut *connection, section, &days).await?;
            confirmations::insert(&mut *connection, id, &value, actor.person, at).await?;
            let after = limit_moves::areas(&mut *connection, section, &days).await?;
            store::sections::remeasured(&mut *connection, section).await?;
            // Two have looked at what is merely larger, where whoever confirms it is not who measured it.
            let moved = limit_moves::of_areas(&before, &after);
            if let Some(moved) = moved.filter(|moved| is_own || moved.why != MovedBy::LimitLoosened) {
                let known =
                    store::sections::get(&mut *connection, section, Scope::Company).await?.ok_or_else(missing)?;
                let place = Place::on(&known, id.uuid(), value.note.clone());
                limit_moves::note(&mut *connection, book.ids.next(at), moved, place, deed).await?;
            }
            doubts.note(&mut *connection, &book, Cause::Measurement(id.uuid()), deed).await?;
            let said = store::measurements::get(connection, id, Scope::Company).await?.ok_or_else(missing)?;
            Ok((said, true))
        })
    });
    confirmed.await.map(Json)
}

/// What is stored, or what is wrong; nothing where there is no such section. The work is done away from the threads that
/// answer, and before the writer is asked.
type Found = Option<Result<Measured, Vec<FieldFault>>>;

async fn measured(
    app: &App,
    scope: Scope,
    section: SectionId,
    value: MeasurementInput,
) -> Result<(Found, MeasurementInput), Problem> {
    let reader = app.store.reader();
    let Some(section) = store::sections::get(reader, section, scope).await? else { return Ok((None, value)) };
    let property = store::properties::get(reader, section.property_id, scope).await?;
    let Some(property) = property else { return Ok((None, value)) };
    let law = app.law();
    let work = move || (Some(book::measurements::measured(&value, &property, &law)), value);
    tokio::task::spawn_blocking(work).await.map_err(|error| Problem::fault(&error))
}

/// Get a measurement
///
/// The area, what it was worked out from, the distances that were kept, and how far it may be off.
#[utoipa::path(get, path = "/api/v1/measurements/{id}", operation_id = "get_measurement", tag = "sections",
    security(("bearer" = ["any staff", "pass"])), params(("id" = MeasurementId, Path, description = "The measurement.")),
    responses((status = 200, description = "The measurement.", body = Measurement)))]
pub async fn get_measurement(
    staff: StaffOrPass,
    State(app): State<App>,
    PathId(id): PathId<ids::Measurement>,
) -> Result<Json<Measurement>, Problem> {
    one(&app, id, staff.scope()).await.map(Json)
}

async fn one(app: &App, id: MeasurementId, scope: Scope) -> Result<Measurement, Problem> {
    let measurement = store::measurements::get(app.store.reader(), id, scope).await?;
    let mut measurement = measurement.ok_or_else(|| Problem::not_found("measurement"))?;
    keep_measurements(app, (scope, measurement.section_id), [&mut measurement]).await?;
    Ok(measurement)
}

/// Get the derivation of a measurement
///
/// Part by part: the inputs, the formula, conversions, rounding and source; then the sum, what the distances leave, and the
/// error. With the ground that may be treated as outlines, where a distance is kept.
#[utoipa::path(get, path = "/api/v1/measurements/{id}/derivation", operation_id = "get_measurement_derivation", tag = "sections",
    security(("bearer" = ["any staff", "pass"])), params(("id" = MeasurementId, Path, description = "The measurement.")),
    responses((status = 200, description = "The derivation.", body = MeasurementDerivation)))]
pub async fn get_measurement_derivation(
    staff: StaffOrPass,
    State(app): State<App>,
    PathId(id): PathId<ids::Measurement>,
) -> Result<Json<MeasurementDerivation>, Problem> {
    let measurement = one(&app, id, staff.scope()).await?;
    let explained = tokio::task::spawn_blocking(move || book::measurements::derivation(&measurement)).await;
    let explained = explained.map_err(|error| Problem::fault(&error))?;
    let lost = "What is stored of this measurement leads to no area. Run `swardbook verify`.";
    explained.map(Json).ok_or_else(|| Problem::new(Kind::Fault, lost))
}

/// List a section's measurements
///
/// In the order in which they were written. The one with the latest day holds; of two with one day, the later written. One that was
/// corrected counts no more; what corrects it on the same day stands where it stood.
#[utoipa::path(get, path = "/api/v1/sections/{id}/measurements", operation_id = "list_measurements", tag = "sections",
    security(("bearer" = ["any staff", "pass"])), params(("id" = SectionId, Path, description = "The section."), ListQuery),
    responses((status = 200, description = "A page of measurements.", body = Page<Measurement>)))]
async fn list_measurements(
    staff: StaffOrPass,
    State(app): State<App>,
    PathId(section): PathId<ids::Section>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<Measurement>>, Problem> {
    let list = format!("sections/{section}/measurements");
    let span = app.cursors.span(&list, &query, false)?;
    let known = store::sections::get(app.store.reader(), section, staff.scope()).await?;
    known.ok_or_else(|| Problem::not_found("lawn section"))?;
    let mut rows = store::measurements::list(app.store.reader(), span, section).await?;
    keep_measurements(&app, (staff.scope(), section), rows.iter_mut().map(|row| &mut row.item)).await?;
    Ok(Json(app.cursors.page(&list, &query, rows)))
}
