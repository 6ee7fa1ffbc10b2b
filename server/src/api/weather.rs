//! What weather services say, the hours that suit, and what was known at a record.

use axum::{
    Json,
    extract::{Path, State},
};
use domain::{
    actor::Role,
    application::Purpose,
    decision::Verdict,
    ids::{self, ApplicationId, PropertyId, VisitId},
    time::{Day, Instant},
    weather::Weather,
};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::{
    access::{AnyStaff, OfficeOrOwner, StaffOrPass},
    book::{
        credentials::{self, Errand},
        weather::{self, PlannedProduct, ProductHours, ServiceWeather, WorkingWindow},
    },
    extract::{PathId, ValidQuery},
    paging::PageRequest,
    problem::{FieldFault, Kind, Problem},
    routes::{Routes, routes},
    scope::Scope,
    state::App,
    store::{
        self,
        properties::Property,
        visits::{Filter, Visit, VisitStatus},
        weather::{EvidenceFetch, RainAfter},
    },
    weather::{ServiceReport, WeatherGap, unpacked},
};

pub fn routes() -> Routes {
    routes!(
        get_property_weather,
        get_working_window,
        get_day_working_windows,
        get_application_weather,
        get_application_weather_answer
    )
}

/// What is known of the weather on a property.
#[derive(Debug, Serialize, ToSchema)]
struct PropertyWeather {
    property_id: PropertyId,
    asked_at: Instant,
    /// Empty when no service is configured, or the property has no coordinates.
    #[schema(max_items = 4)]
    services: Vec<ServiceWeather>,
    /// What this is, and what it is not.
    #[schema(max_length = 400)]
    caution: &'static str,
}

const CAUTION: &str = "What a service says can show that work must stop. Whether it may begin is decided by a check on the spot: what a person sees and measures there counts. Weather data of the US National Weather Service is in the public domain; Open-Meteo's is by Open-Meteo.com (CC BY 4.0).";

async fn property(app: &App, id: PropertyId, scope: Scope) -> Result<Property, Problem> {
    let found = store::properties::get(app.store.reader(), id, scope).await?;
    found.ok_or_else(|| Problem::not_found("property"))
}

async fn said(app: &App, property: &Property) -> Vec<ServiceReport> {
    match weather::place_of(property) {
        Some(place) => app.weather.report(&app.store, place).await,
        None => Vec::new(),
    }
}

/// Get the weather on a property
///
/// What each weather service says of now, value by value with its source, its age and how much of its span is known; what is
/// missing is said. When a service does not answer in time, the last good copy is shown with its age.
#[utoipa::path(get, path = "/api/v1/properties/{id}/weather", operation_id = "get_property_weather", tag = "weather",
    security(("bearer" = ["any staff"])), params(("id" = PropertyId, Path, description = "The property.")),
    responses((status = 200, description = "What is known.", body = PropertyWeather)))]
async fn get_property_weather(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::Property>,
) -> Result<Json<PropertyWeather>, Problem> {
    let property = property(&app, id, staff.scope()).await?;
    let said = said(&app, &property).await;
    let now = app.clock.now();
    let services = said.iter().map(|said| weather::service(&app, said, now)).collect();
    Ok(Json(PropertyWeather { property_id: id, asked_at: now, services, caution: CAUTION }))
}

/// Which product, when it is not the planned one.
#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct WindowQuery {
    /// Ask about this product instead of those of the day's planned visits.
    #[serde(default)]
    product_id: Option<domain::ids::ProductId>,
}

fn read_day(day: &str) -> Result<Day, Problem> {
    Day::parse(day).map_err(|bad| Problem::invalid(vec![FieldFault::parameter("day", "wrong_format", bad.to_string())]))
}

/// Get the working window of a day
///
/// For each product that is planned on the property that day, or for one that is named: the working hours (7 to 19 local time)
/// in which it may go down as far as rain, alerts, heat, wind and the certificate of whoever goes go, why the other hours not, and the
/// next such hours within the forecast. Season, amounts and the ground are the check's to ask.
#[utoipa::path(get, path = "/api/v1/properties/{id}/working-windows/{day}", operation_id = "get_working_window", tag = "weather",
    security(("bearer" = ["any staff"])),
    params(("id" = PropertyId, Path, description = "The property."), ("day" = Day, Path, description = "The local day."), WindowQuery),
    responses((status = 200, description = "The hours.", body = WorkingWindow)))]
pub async fn get_working_window(
    staff: AnyStaff,
    State(app): State<App>,
    Path((id, day)): Path<(String, String)>,
    ValidQuery(query): ValidQuery<WindowQuery>,
) -> Result<Json<WorkingWindow>, Problem> {
    let missing = || Problem::not_found("property");
    let id: PropertyId = id.parse().map_err(|_| missing())?;
    let day = read_day(&day)?;
    let property = property(&app, id, staff.scope()).await?;
    let mut planned = Vec::new();
    if let Some(product) = query.product_id {
        // An office that asks for nobody's visit names nobody who would go.
        let person = (staff.0.role == Role::Technician).then_some(staff.0.person);
        let errand =
            person.map(|person| Errand { property: id, product, purpose: Purpose::Maintenance, person, on: day });
        planned.push(planned_product(&app, (None, product, Purpose::Maintenance), errand).await?);
    } else {
        let filter = Filter { planned_on: Some(day), property: Some(id), ..Filter::default() };
        for visit in planned_visits(&app, filter, staff.scope()).await?.iter().take(50) {
            planned.push(planned_visit(&app, visit).await?);
        }
    }
    let said = said(&app, &property).await;
    Ok(Json(weather::window(&app, &property, day, &planned, &said)?))
}

async fn planned_visit(app: &App, visit: &Visit) -> Result<PlannedProduct, Problem> {
    planned_product(app, (Some(visit.id), visit.product_id, visit.purpose), Errand::of(visit)).await
}

async fn planned_product(
    app: &App,
    (visit, product, purpose): (Option<VisitId>, domain::ids::ProductId, Purpose),
    errand: Option<Errand>,
) -> Result<PlannedProduct, Problem> {
    let found = store::products::get(app.store.reader(), product).await?;
    let found = found.ok_or_else(|| {
        Problem::invalid(vec![FieldFault::parameter("product_id", "not_found", "names no product of this company")])
    })?;
    let errands: Vec<Errand> = errand.into_iter().collect();
    let mut connection = app.store.reader().acquire().await?;
    let told = credentials::of_errands(&mut connection, &app.law(), &errands, app.clock.now()).await?;
    let certificate = told.into_iter().next().unwrap_or_default();
    Ok(PlannedProduct { visit, product, product_name: found.name, label: found.label, purpose, certificate })
}

async fn planned_visits(app: &App, filter: Filter, scope: Scope) -> Result<Vec<Visit>, Problem> {
    let rows =
        store::visits::list(app.store.reader(), PageRequest { after: 0, take: MOST_VISITS }, filter, scope).await?;
    let visits = rows.into_iter().map(|row| row.item);
    Ok(visits.filter(|visit| visit.status == VisitStatus::Planned).collect())
}

/// More visits than a company of this size makes in a day.
const MOST_VISITS: i64 = 200;

/// A planned visit and its hours.
#[derive(Debug, Serialize, ToSchema)]
struct VisitWindow {
    visit: Visit,
    #[schema(max_length = 120)]
    property_name: String,
    #[schema(max_length = 300)]
    address: String,
    hours: ProductHours,
    #[schema(max_items = 100)]
    gaps: Vec<WeatherGap>,
}

/// The visits of a day in the order in which the weather lets them be made.
#[derive(Debug, Serialize, ToSchema)]
struct DayWindows {
    day: Day,
    asked_at: Instant,
    /// Those whose window closes first come first; those with no window at all last.
    #[schema(max_items = 200)]
    visits: Vec<VisitWindow>,
}

/// Get the working windows of a day's visits
///
/// All planned visits of a day with their working windows. The visit whose window closes first comes first, so that the day
/// can be driven in that order; what cannot be done at all comes last.
#[utoipa::path(get, path = "/api/v1/days/{day}/working-windows", operation_id = "get_day_working_windows", tag = "weather",
    security(("bearer" = ["office", "owner"])), params(("day" = Day, Path, description = "The local day.")),
    responses((status = 200, description = "The visits, sorted.", body = DayWindows)))]
async fn get_day_working_windows(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    Path(day): Path<String>,
) -> Result<Json<DayWindows>, Problem> {
    let (day, scope) = (read_day(&day)?, Scope::of(actor));
    let filter = Filter { planned_on: Some(day), ..Filter::default() };
    let visits = planned_visits(&app, filter, scope).await?;
    let one = async |visit: Visit| {
        let property = property(&app, visit.property_id, scope).await?;
        let planned = planned_visit(&app, &visit).await?;
        let said = said(&app, &property).await;
        let mut window = weather::window(&app, &property, day, &[planned], &said)?;
        let hours = window.products.pop().ok_or_else(|| Problem::not_found("product"))?;
        Ok::<VisitWindow, Problem>(VisitWindow {
            visit,
            property_name: property.name,
            address: property.address,
            hours,
            gaps: window.gaps,
        })
    };
    // All at once: neighbours share what is fetched, and nobody waits longer than for one.
    let windows = futures_util::future::join_all(visits.into_iter().map(one)).await;
    let mut visits = windows.into_iter().collect::<Result<Vec<_>, _>>()?;
    visits.sort_by_key(|visit| {
        let closes = visit.hours.window.map(|window| (window.to, window.from));
        (visit.hours.verdict == Verdict::Stop, closes.is_none(), closes, visit.visit.id)
    });
    Ok(Json(DayWindows { day, asked_at: app.clock.now(), visits }))
}

/// What was known of the weather at a record, and what became known since.
#[derive(Debug, Serialize, ToSchema)]
struct RecordWeather {
    application_id: ApplicationId,
    /// What the record itself says, as it was sent.
    recorded: Weather,
    /// What services said, as the rules were asked; null when none was asked. Without any member where nothing was known.
    from_services: Option<Weather>,
    /// The answers of the services behind it, which are kept as long as the record.
    #[schema(max_items = 200)]
    answers: Vec<EvidenceFetch>,
    /// Rain in the 24 hours after the work began, as far as it is known by now.
    #[schema(max_items = 4)]
    rain_after: Vec<RainAfter>,
}

/// Get the weather behind an application
///
/// What the record says, what weather services had said at that moment with source and age, the answers that this was taken
/// from by their hash, and the rain that fell within a day.
#[utoipa::path(get, path = "/api/v1/applications/{id}/weather", operation_id = "get_application_weather", tag = "weather",
    security(("bearer" = ["any staff", "pass"])), params(("id" = ApplicationId, Path, description = "The application.")),
    responses((status = 200, description = "What was known.", body = RecordWeather)))]
async fn get_application_weather(
    staff: StaffOrPass,
    State(app): State<App>,
    PathId(id): PathId<ids::Application>,
) -> Result<Json<RecordWeather>, Problem> {
    let reader = app.store.reader();
    let application = store::applications::get(reader, id, staff.scope()).await?;
    let application = application.ok_or_else(|| Problem::not_found("application"))?;
    let evidence = store::weather::evidence(reader, &format!("application/{id}")).await?;
    let rain_after = store::weather::after(reader, &id.to_string()).await?;
    let (from_services, answers) = evidence.map_or((None, Vec::new()), |evidence| {
        (Some(evidence.facts), evidence.fetches.into_iter().map(|(_, fetch)| fetch).collect())
    });
    Ok(Json(RecordWeather { application_id: id, recorded: application.weather, from_services, answers, rain_after }))
}

/// An answer of a service, word for word.
#[derive(Debug, Serialize, ToSchema)]
struct ServiceResponse {
    application_id: ApplicationId,
    /// What was asked, when, and the hash that the body has.
    asked: EvidenceFetch,
    #[schema(max_length = 100, example = "application/geo+json")]
    content_type: String,
    /// The body as it came over the wire; a service's own words, which this server vouches for by their hash alone.
    #[schema(max_length = 8_388_608)]
    body: String,
}

/// Get a weather service's answer behind an application
///
/// The whole document that a service had sent, by the hash under which the record's weather names it: for whoever must check
/// what was known at that moment.
#[utoipa::path(get, path = "/api/v1/applications/{id}/weather/{sha256}", operation_id = "get_application_weather_answer", tag = "weather",
    security(("bearer" = ["office", "owner"])),
    params(("id" = ApplicationId, Path, description = "The application."),
        ("sha256" = String, Path, description = "Hash of the answer, in hexadecimal.", min_length = 64, max_length = 64, pattern = "^[0-9a-f]{64}$")),
    responses((status = 200, description = "The answer.", body = ServiceResponse)))]
async fn get_application_weather_answer(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    Path((id, sha256)): Path<(String, String)>,
) -> Result<Json<ServiceResponse>, Problem> {
    let missing = || Problem::not_found("weather answer");
    let id: ApplicationId = id.parse().map_err(|_| missing())?;
    let reader = app.store.reader();
    let application = store::applications::get(reader, id, Scope::of(actor)).await?;
    let _ = application.ok_or_else(|| Problem::not_found("application"))?;
    let found = store::weather::raw_answer(reader, &format!("application/{id}"), &sha256).await?.ok_or_else(missing)?;
    let body = unpacked(&found.bytes).and_then(|body| String::from_utf8(body).ok());
    let body =
        body.ok_or_else(|| Problem::new(Kind::Fault, "The kept answer of the weather service cannot be read."))?;
    Ok(Json(ServiceResponse { application_id: id, asked: found.fetch, content_type: found.content_type, body }))
}
