//! Soil reports of lawn sections.

use axum::{Json, extract::State};
use domain::{
    ids::{self, SectionId, SoilReportId},
    law::ReportTaken,
    quantity::{LimeCredit, NeutralisingValue, SoilPh},
    soil::{
        lime_rules::{CapOn, SplitRule},
        liming::LimeBy,
    },
    time::Day,
};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::{
    access::{AnyStaff, OfficeOrOwner, StaffOrPass},
    api::{ListQuery, correction, fingerprint_at, last_past_day, not_yet, whole},
    book::{
        self,
        doubts::Before,
        limit_moves::{self, Place},
        office::{self, IdempotentRequest},
        particulars::keep_soil_reports,
        soil_reports::{LimeAsk, SoilInterpretation, SoilLime},
    },
    extract::{IdempotencyKey, PathId, Valid, ValidQuery},
    paging::Page,
    problem::{FieldFault, Problem},
    reply::Created,
    routes::{Routes, routes},
    scope::Scope,
    state::App,
    store::{
        self,
        doubts::Cause,
        journal::JournalContext,
        properties::Property,
        sections::Section,
        soil_reports::{SoilReport, SoilReportInput},
    },
    zone::{self, UnknownZone},
};

pub fn routes() -> Routes {
    routes!(
        record_soil_report,
        list_soil_reports,
        get_soil_report,
        get_soil_report_interpretation,
        get_soil_report_lime
    )
}

/// Record a soil report
///
/// What the laboratory answered about one section: how the soil was dug, the laboratory's numbers each with its extractant,
/// unit and basis, and its own recommendations, which prevail. A number without extractant is refused. A wrong report is
/// corrected by one that names it and says why: it stays to be read and counts no more. One that was entered on the wrong lawn is
/// corrected by `not_of_this_lawn`, and counts nowhere here.
#[utoipa::path(post, path = "/api/v1/sections/{id}/soil-reports", operation_id = "record_soil_report", tag = "sections",
    security(("bearer" = ["office", "owner"])), params(("id" = SectionId, Path, description = "The section."), IdempotencyKey),
    request_body = SoilReportInput,
    responses((status = 201, description = "Added.", body = SoilReport, headers(("Location" = String, description = "Where it is.")))))]
pub async fn record_soil_report(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    key: IdempotencyKey,
    PathId(section): PathId<ids::Section>,
    Valid { value, fingerprint }: Valid<SoilReportInput>,
) -> Result<Created, Problem> {
    let last = last_past_day(&app).await?;
    let at = app.clock.now();
    let id: SoilReportId = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "soil_report.added", subject: id.uuid() };
    let repeat =
        IdempotentRequest { key, route: "record_soil_report", fingerprint: fingerprint_at(section, &fingerprint) };
    let book = app.clone();
    office::create(&app, deed, repeat, format!("/api/v1/soil-reports/{id}"), move |connection| {
        Box::pin(async move {
            let known = store::sections::get(&mut *connection, section, Scope::Company).await?;
            let known = known.ok_or_else(|| Problem::not_found("lawn section"))?;
            let mut faults = book::soil_reports::faults(&value);
            faults.extend(not_yet("/sampled_on", value.sampled_on, last));
            let corrected = match value.corrects {
                Some(id) => store::soil_reports::get(&mut *connection, id, Scope::Company).await?,
                None => None,
            };
            let corrected = corrected.filter(|known| known.section_id == section);
            let freed = corrected.as_ref().map(|known| known.sampled_on);
            let named = (value.corrects.is_some(), corrected.is_some());
            let taken = corrected.as_ref().and_then(|known| known.corrected_by).map(|by| by.to_string());
            faults.extend(correction(named, value.reason.as_deref(), taken));
            if value.not_of_this_lawn && value.corrects.is_none() {
                let detail = "is said of one that is on file; name it in `corrects`";
                faults.push(FieldFault::at("/not_of_this_lawn", "incomplete", detail));
            }
            whole(faults)?;
            let days: Vec<Day> = [Some(value.sampled_on), freed].into_iter().flatten().collect();
            let since = freed.map_or(value.sampled_on, |day| day.min(value.sampled_on));
            let doubts = Before::of(connection, &book, (section, since), at).await?;
            let before = limit_moves::soil_reports(&mut *connection, section, &days).await?;
            let report = store::soil_reports::insert(&mut *connection, id, section, &value, at).await?;
            let after = limit_moves::soil_reports(&mut *connection, section, &days).await?;
            let lawn = limit_moves::limited_lawn(&mut *connection, known.property_id, known.species, last).await?;
            let moved = lawn.and_then(|lawn| limit_moves::of_soil_reports(&lawn, &book.law(), last, [&before, &after]));
            if let Some(moved) = moved {
                let place = Place::on(&known, id.uuid(), value.reason.clone());
                limit_moves::note(&mut *connection, book.ids.next(at), moved, place, deed).await?;
            }
            doubts.note(connection, &book, Cause::SoilReport(id.uuid()), deed).await?;
            Ok(report)
        })
    })
    .await
}

/// List a section's soil reports
///
/// In the order in which they were written. A technician sees those of sections on the own visits.
#[utoipa::path(get, path = "/api/v1/sections/{id}/soil-reports", operation_id = "list_soil_reports", tag = "sections",
    security(("bearer" = ["any staff", "pass"])), params(("id" = SectionId, Path, description = "The section."), ListQuery),
    responses((status = 200, description = "A page of soil reports.", body = Page<SoilReport>)))]
async fn list_soil_reports(
    staff: StaffOrPass,
    State(app): State<App>,
    PathId(section): PathId<ids::Section>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<SoilReport>>, Problem> {
    let list = format!("sections/{section}/soil-reports");
    let span = app.cursors.span(&list, &query, false)?;
    let known = store::sections::get(app.store.reader(), section, staff.scope()).await?;
    known.ok_or_else(|| Problem::not_found("lawn section"))?;
    let mut rows = store::soil_reports::list(app.store.reader(), span, section).await?;
    keep_soil_reports(&app, (staff.scope(), section), rows.iter_mut().map(|row| &mut row.item)).await?;
    Ok(Json(app.cursors.page(&list, &query, rows)))
}

/// A soil report with what the law makes of its age.
#[derive(Debug, Serialize, ToSchema)]
struct InterpretedSoilReport {
    #[serde(flatten)]
    report: SoilReport,
    /// The day whose law `taken_until` is, at the property.
    on: Day,
    /// Every rule over the property that asks for a soil report, and until which day it takes this one. Empty when none of the
    /// rule sets asks, which does not mean that no law does.
    #[schema(max_items = 200)]
    taken_until: Vec<ReportTaken>,
    /// Where its numbers are interpreted.
    #[schema(max_length = 100)]
    interpretation: String,
    /// Where its lime is worked out.
    #[schema(max_length = 100)]
    lime: String,
}

/// Get a soil report
///
/// With cautions about how the sample was taken, and with the day until which each rule set over the property takes it.
#[utoipa::path(get, path = "/api/v1/soil-reports/{id}", operation_id = "get_soil_report", tag = "sections",
    security(("bearer" = ["any staff", "pass"])), params(("id" = SoilReportId, Path, description = "The soil report.")),
    responses((status = 200, description = "The soil report.", body = InterpretedSoilReport)))]
async fn get_soil_report(
    staff: StaffOrPass,
    State(app): State<App>,
    PathId(id): PathId<ids::SoilReport>,
) -> Result<Json<InterpretedSoilReport>, Problem> {
    let (report, _, property) = of_property(&app, id, staff.scope()).await?;
    let on = today_at(&app, &property)?;
    let taken_until = book::soil_reports::taken(&report, &property, &app.law(), on);
    let address = |what: &str| format!("/api/v1/soil-reports/{id}/{what}");
    let (interpretation, lime) = (address("interpretation"), address("lime"));
    Ok(Json(InterpretedSoilReport { report, on, taken_until, interpretation, lime }))
}

/// A report with its section and property.
async fn of_property(app: &App, id: SoilReportId, scope: Scope) -> Result<(SoilReport, Section, Property), Problem> {
    let (reader, missing) = (app.store.reader(), || Problem::not_found("soil report"));
    let mut report = store::soil_reports::get(reader, id, scope).await?.ok_or_else(missing)?;
    keep_soil_reports(app, (scope, report.section_id), [&mut report]).await?;
    let section = store::sections::get(reader, report.section_id, scope).await?.ok_or_else(missing)?;
    let property = store::properties::get(reader, section.property_id, scope).await?.ok_or_else(missing)?;
    Ok((report, section, property))
}

fn today_at(app: &App, property: &Property) -> Result<Day, UnknownZone> {
    Ok(app.clock.now().day_in(&zone::of_property(property.id, &property.time_zone)?))
}

/// Get the interpretation of a soil report
///
/// Each number by the published table of its own laboratory and extractant, with class, source and derivation; where no such
/// table was read, the way to the laboratory's own recommendation. P2O5 and K2O for the year in numbers where somebody
/// published them; the laboratory's own prevail.
#[utoipa::path(get, path = "/api/v1/soil-reports/{id}/interpretation", operation_id = "get_soil_report_interpretation", tag = "sections",
    security(("bearer" = ["any staff"])), params(("id" = SoilReportId, Path, description = "The soil report.")),
    responses((status = 200, description = "What its numbers mean.", body = SoilInterpretation)))]
async fn get_soil_report_interpretation(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::SoilReport>,
) -> Result<Json<SoilInterpretation>, Problem> {
    let (report, _, property) = of_property(&app, id, staff.scope()).await?;
    Ok(Json(book::soil_reports::interpretation(&report, &property)))
}

#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct LimeQuery {
    /// Whose figure; without it the laboratory's own, else that which fits how the acidity was measured.
    #[serde(default)]
    by: Option<LimeBy>,
    /// The pH that is wanted; Penn State's table has 6, 6.5 and 7.
    #[serde(default)]
    goal: Option<SoilPh>,
    /// Calcium carbonate equivalent of the material, from its label.
    #[serde(default)]
    cce_percent: Option<NeutralisingValue>,
    /// Lime of earlier years that the report credits, for North Carolina's formula.
    #[serde(default)]
    credit_tons_per_acre: Option<LimeCredit>,
    /// Whose rule splits the lime; without it that of the figure's own laboratory.
    #[serde(default)]
    split_rule: Option<SplitRule>,
    /// What the most at once is held against; the recommendation unless said otherwise.
    #[serde(default)]
    cap_on: Option<CapOn>,
    /// First day of the plan; today at the property unless said otherwise.
    #[serde(default)]
    first_on: Option<Day>,
}

/// Get the lime of a soil report
///
/// How much pure calcium carbonate, by the laboratory's own figure, Penn State's table or North Carolina's formula; how much
/// of a material; in how many parts, and the first day of each. What is not known is said, and nothing is put in its place.
#[utoipa::path(get, path = "/api/v1/soil-reports/{id}/lime", operation_id = "get_soil_report_lime", tag = "sections",
    security(("bearer" = ["any staff"])), params(("id" = SoilReportId, Path, description = "The soil report."), LimeQuery),
    responses((status = 200, description = "The lime.", body = SoilLime)))]
pub async fn get_soil_report_lime(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::SoilReport>,
    ValidQuery(query): ValidQuery<LimeQuery>,
) -> Result<Json<SoilLime>, Problem> {
    let (report, section, property) = of_property(&app, id, staff.scope()).await?;
    let ask = LimeAsk {
        by: query.by,
        goal: query.goal,
        cce: query.cce_percent,
        credit: query.credit_tons_per_acre.unwrap_or(LimeCredit::ZERO),
        split: query.split_rule,
        cap_on: query.cap_on.unwrap_or_default(),
        first_on: query.first_on.map_or_else(|| today_at(&app, &property), Ok)?,
    };
    Ok(Json(book::soil_reports::lime(&report, &section, ask)))
}
