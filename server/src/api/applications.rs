//! Applications: the records.

use axum::{Json, extract::State, response::Response};
use domain::{
    decision::Decision,
    ids::{self, ApplicationId, PropertyId, SectionId},
    time::Day,
};
use serde::{Deserialize, Serialize};
use utoipa::IntoParams;

use crate::{
    access::{AnyStaff, StaffOrPass},
    acts::{
        Act, ActOutcome,
        application::{ApplicationInput, ApplicationView},
    },
    api::clearances::{context, refused, stored_before_response, stored_response},
    book::{
        duties::{self, RecordDuties},
        particulars::{self, Whole},
        receipts, weather,
    },
    extract::{PathId, Valid, ValidQuery},
    paging::{Page, Paged},
    problem::{FieldFault, Problem},
    routes::{Routes, routes},
    state::App,
    store::{self, applications::Filter},
    zone,
};

pub fn routes() -> Routes {
    routes!(list_applications, record_application, get_application, get_application_decision, get_application_duties)
}

/// Record an application
///
/// Under an id that the phone makes before it sends, so that a lost reply and a retry make one record. The server decides
/// again with the true history and the law of the day of application. Within the rules: 201. A rule says stop: 422 with
/// every finding, nothing of the book changes, and the attempt is kept. What truly happened must still be recordable: send
/// it again with the `key` of every stopping finding in `acknowledged` and a `reason`, and it is stored, marked beyond the
/// rules, and put on the owner's list. The same again answers the stored record; other content under the same id is refused.
#[utoipa::path(put, path = "/api/v1/applications/{id}", operation_id = "record_application", tag = "applications",
    security(("bearer" = ["any staff"])), params(("id" = ApplicationId, Path, description = "Made by the caller, UUID version 7 preferred.")),
    request_body = ApplicationInput,
    responses((status = 201, description = "Stored.", body = ApplicationView, headers(("receipt" = String, description = "A receipt of this moment, base64."))),
              (status = 200, description = "Stored before, with the same content.", body = ApplicationView, headers(("receipt" = String, description = "A receipt of this moment, base64.")))))]
async fn record_application(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::Application>,
    Valid { value, .. }: Valid<ApplicationInput>,
) -> Result<Response, Problem> {
    let value = value.canonical(staff.0.person);
    let mut context = context(&app, staff, value.content()?);
    let (property, work) = (value.property_id, (value.started_at, value.finished_at));
    context.weather = weather::for_work(&app, property, staff.scope(), work, &value.weather).await?;
    match app.store.act(Act::Record(context, id, Box::new(value))).await? {
        ActOutcome::Recorded(view) => Ok(receipts::beside(&app, stored_response(view)).await),
        // It is shown with the corrections that came since.
        ActOutcome::StoredBefore => {
            let found = store::applications::get(app.store.reader(), id, staff.scope()).await?;
            Ok(receipts::beside(&app, stored_before_response(found, "application")?).await)
        }
        other => Err(refused(other)),
    }
}

/// Which applications to list.
#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct ApplicationFilter {
    /// Only on this property.
    #[serde(default)]
    property_id: Option<PropertyId>,
    /// Only on this section, corrections included.
    #[serde(default)]
    section_id: Option<SectionId>,
    /// First day of application.
    #[serde(default)]
    from: Option<Day>,
    /// Last day of application.
    #[serde(default)]
    to: Option<Day>,
    /// Only those beyond the rules, or only those within.
    #[serde(default)]
    beyond_the_rules: Option<bool>,
}

type ApplicationQuery = Paged<ApplicationFilter>;

/// List applications
///
/// The latest received first. A technician sees those of the properties on the own visits. To a technician and to a pass for some
/// clients notes and reasons are null that were written while the property was another client's.
#[utoipa::path(get, path = "/api/v1/applications", operation_id = "list_applications", tag = "applications",
    security(("bearer" = ["any staff", "pass"])), params(ApplicationQuery),
    responses((status = 200, description = "A page of applications.", body = Page<ApplicationView>)))]
async fn list_applications(
    staff: StaffOrPass,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<ApplicationQuery>,
) -> Result<Json<Page<ApplicationView>>, Problem> {
    if query.from.zip(query.to).is_some_and(|(from, to)| from > to) {
        return Err(Problem::invalid(vec![FieldFault::parameter("to", "out_of_range", "must not lie before `from`")]));
    }
    let span = app.cursors.span("applications", &query, true)?;
    let filter = Filter {
        property: query.property_id.map(|id| id.to_string()),
        section: query.section_id.map(|id| id.to_string()),
        from: query.from.map(|day| day.to_string()),
        to: query.to.map(|day| day.to_string()),
        beyond_the_rules: query.beyond_the_rules,
    };
    let mut rows = store::applications::list(app.store.reader(), span, filter, staff.scope()).await?;
    particulars::keep_records(&app, staff.scope(), rows.iter_mut().map(|row| &mut row.item)).await?;
    Ok(Json(app.cursors.page("applications", &query, rows)))
}

/// Get an application
///
/// As it was recorded, with the ids of its corrections. To a technician and to a pass for some clients notes and reason are null that
/// were written while the property was another client's.
#[utoipa::path(get, path = "/api/v1/applications/{id}", operation_id = "get_application", tag = "applications",
    security(("bearer" = ["any staff", "pass"])), params(("id" = ApplicationId, Path, description = "The application.")),
    responses((status = 200, description = "The application.", body = ApplicationView)))]
async fn get_application(
    staff: StaffOrPass,
    State(app): State<App>,
    PathId(id): PathId<ids::Application>,
) -> Result<Json<ApplicationView>, Problem> {
    let mut found = store::applications::get(app.store.reader(), id, staff.scope()).await?;
    particulars::keep_records(&app, staff.scope(), &mut found).await?;
    found.map(Json).ok_or_else(|| Problem::not_found("application"))
}

/// Get the decision behind an application
///
/// Word for word as it was given, with the values, citations and the hash of every rule set it was made under.
#[utoipa::path(get, path = "/api/v1/applications/{id}/decision", operation_id = "get_application_decision", tag = "applications",
    security(("bearer" = ["any staff", "pass"])), params(("id" = ApplicationId, Path, description = "The application.")),
    responses((status = 200, description = "The decision.", body = Decision)))]
async fn get_application_decision(
    staff: StaffOrPass,
    State(app): State<App>,
    PathId(id): PathId<ids::Application>,
) -> Result<Json<Decision>, Problem> {
    let missing = || Problem::not_found("application");
    store::applications::get(app.store.reader(), id, staff.scope()).await?.ok_or_else(missing)?;
    let decision = store::applications::decision(app.store.reader(), &format!("application/{id}")).await?;
    decision.map(Json).ok_or_else(missing)
}

/// Get the duties of an application's record
///
/// Which things the record must name by the law of its day, which of them are missing, and until when it is kept, each with
/// its citation.
#[utoipa::path(get, path = "/api/v1/applications/{id}/duties", operation_id = "get_application_duties", tag = "applications",
    security(("bearer" = ["any staff", "pass"])), params(("id" = ApplicationId, Path, description = "The application.")),
    responses((status = 200, description = "The record held against the law.", body = RecordDuties)))]
async fn get_application_duties(
    staff: StaffOrPass,
    State(app): State<App>,
    PathId(id): PathId<ids::Application>,
) -> Result<Json<RecordDuties>, Problem> {
    let found = store::applications::get(app.store.reader(), id, staff.scope()).await?;
    let application = found.ok_or_else(|| Problem::not_found("application"))?;
    let Whole { told, asked, gaps } = particulars::whole(&app, &application).await?;
    let zone = zone::of_property(application.property_id, &told.particulars.time_zone)?;
    let today = app.clock.now().day_in(&zone);
    Ok(Json(duties::of_record(&application, &told.particulars, (&asked, gaps), today, &app.law())))
}
