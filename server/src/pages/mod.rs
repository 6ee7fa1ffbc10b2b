//! What a person sees in a browser: the front page, the phone, the office, the owner's year, the explanations of problems,
//! the help and the API document. Rendered here; what is sent goes through the same API as any program's requests.

mod api_page;
mod applications;
mod attention;
mod calibrations;
mod clients;
mod corrections;
mod credentials;
mod derivation;
mod divisions;
mod equipment;
mod figures;
mod find;
mod form;
mod frame;
mod gaps;
mod help;
mod history;
mod listing;
mod load_sheet;
mod local;
mod lots;
mod measurements;
mod office;
mod office_session;
mod passes;
mod passwords;
mod people;
mod phone;
mod pictures;
mod plans;
mod product_files;
mod products;
mod programmes;
mod properties;
mod reviews;
mod rule_sets;
mod sections;
mod security_log;
mod sessions;
mod settings;
mod setup;
mod sightings;
mod soil_reports;
mod stock;
mod visits;
mod weather;
mod week;
mod year;

use crate::{
    access::Anyone,
    openapi,
    problem::{About, KINDS, Problem},
    routes::{get, get_and_post, post},
    state::App,
    store,
};
use askama::Template;
use axum::{
    Json, Router,
    extract::{DefaultBodyLimit, Path, State},
    http::{HeaderMap, HeaderValue, StatusCode, header},
    middleware,
    response::{Html, IntoResponse, Response},
};
use serde::Serialize;

/// The pages' own policy: everything from this server, nothing inline.
const PAGE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";

/// Routes that are not part of the API.
pub fn routes() -> Router<App> {
    Router::new()
        .route("/", get(front))
        .route("/page.css", get(style))
        .route("/setup", get_and_post(setup::ask, setup::set_up))
        .route("/sign-in", get_and_post(sessions::sign_in, sessions::send_sign_in))
        .route("/sign-out", post(sessions::sign_out))
        .route("/new-password", get_and_post(passwords::forgotten, passwords::set_forgotten))
        .route("/inspector", get_and_post(passes::inspector, passes::enter))
        .route("/inspector/leave", post(passes::leave))
        .route("/reviews", get(reviews::list))
        .route("/reviews/{id}", get_and_post(reviews::one, reviews::close))
        .route("/rules", get(office_session::rules))
        .merge(desk_routes())
        .route("/year", get(year::year))
        .route("/year/{id}", get(year::client))
        .route("/records/{id}", get(applications::record))
        .route("/records/{id}/correct", get_and_post(corrections::new, corrections::correct))
        .route("/phone", get(phone::page))
        .route("/phone.css", get(phone::style))
        .route("/phone.webmanifest", get(phone::manifest))
        .route("/icon.svg", get(phone::icon))
        .route("/icon-full.svg", get(phone::icon_full))
        .route("/sw.js", get(phone::worker))
        .route("/modules/{name}", get(phone::module))
        .route("/problems/{slug}", get(problem))
        .route("/help", get(help::index))
        .route("/help/style", get(help::style::page))
        .route("/help/{slug}", get(help::topic))
        .route("/openapi.json", get(api_document))
        .route("/healthz", get(alive))
        .route("/readyz", get(ready))
        .route("/api-page", get(api_page::to_page))
        .route("/api-page/", get(api_page::page))
        .route("/api-page/{file}", get(api_page::file))
        .layer(middleware::from_fn(frame::around))
}

/// What the office and the owner find, enter and correct. A form is shown by GET and sent by POST to the same address.
fn desk_routes() -> Router<App> {
    Router::new()
        .route("/office", get(office::today))
        .route("/office/find", get(find::find))
        .route("/office/week", get(week::week))
        .route("/office/week/{day}", get_and_post(week::day, week::change))
        .route("/office/clients", get(clients::list))
        .route("/office/clients/new", get_and_post(clients::new, clients::add))
        .route("/office/clients/{id}", get_and_post(clients::one, clients::change))
        .route("/office/clients/{id}/properties/new", get_and_post(properties::new, properties::add))
        .route("/office/history/{id}", get(history::list))
        .route("/office/entries/{id}", get_and_post(history::entry, history::correct))
        .route("/office/properties/{id}", get(properties::one))
        .route("/office/properties/{id}/edit", get_and_post(properties::edit, properties::change))
        .route("/office/properties/{id}/sections/new", get_and_post(sections::new, sections::add))
        .route("/office/properties/{id}/weather", get(weather::hours))
        .route("/office/properties/{id}/visits/new", get_and_post(visits::new, visits::add))
        .route("/office/sections/{id}", get_and_post(sections::one, sections::change))
        .route("/office/sections/{id}/measurements/new", get_and_post(measurements::new, measurements::add))
        .route(
            "/office/sections/{id}/measurements/shapes",
            get_and_post(measurements::new_shapes, measurements::add_shapes),
        )
        .route("/office/measurements/{id}", get_and_post(measurements::one, measurements::confirm))
        .route(
            "/office/measurements/{id}/correct",
            get_and_post(measurements::correcting::form, measurements::correcting::correct),
        )
        .route("/office/sightings/{id}", get_and_post(sightings::one, sightings::confirm))
        .route("/office/sections/{id}/divisions/new", get_and_post(divisions::new, divisions::add))
        .route("/office/sections/{id}/soil-reports/new", get_and_post(soil_reports::new, soil_reports::add))
        .route("/office/soil-reports/{id}", get(soil_reports::one))
        .route("/office/soil-reports/{id}/correct", get_and_post(soil_reports::wrong, soil_reports::correct))
        .route("/office/visits/{id}", get_and_post(visits::one, visits::change))
        .route("/office/products", get(products::list))
        .route("/office/products/new", get_and_post(products::new, products::add))
        .route("/office/products/{id}", get(products::one))
        .route("/office/products/{id}/status", get_and_post(products::status, products::set_status))
        .route("/office/products/{id}/lots/new", get_and_post(lots::new, lots::add))
        .route("/office/products/{id}/stock/new", get_and_post(stock::new, stock::add))
        .route("/office/equipment", get(equipment::list))
        .route("/office/equipment/new", get_and_post(equipment::new, equipment::add))
        .route("/office/equipment/{id}", get_and_post(equipment::one, equipment::change))
        .route("/office/equipment/{id}/calibrations/new", get_and_post(calibrations::new, calibrations::add))
        .route("/office/calibrations/{id}", get(calibrations::one))
        .route("/office/load-sheet", get(load_sheet::sheet))
        .route("/office/programmes", get(programmes::list))
        .route("/office/programmes/new", get_and_post(programmes::new, programmes::add))
        .route("/office/programmes/{id}", get_and_post(programmes::one, programmes::change))
        .route("/office/programmes/{id}/plan", get(plans::of_company))
        .route("/office/programmes/{id}/visits/new", get_and_post(plans::new, plans::add))
        .route("/office/sections/{id}/plan", get(plans::of_section))
        .route(
            "/office/products/{id}/files/new",
            get_and_post(product_files::new, product_files::add).layer(DefaultBodyLimit::max(product_files::MOST_SENT)),
        )
        .route("/office/rules/{code}/new", get_and_post(rule_sets::new, rule_sets::confirm))
        .merge(people_routes())
}

/// Settings, people, their sign-ins and phones, and whoever looks in from outside.
fn people_routes() -> Router<App> {
    Router::new()
        .route("/office/settings", get_and_post(settings::one, settings::change))
        .route("/office/sessions", get_and_post(sessions::own, sessions::end_own))
        .route("/office/security-log", get(security_log::list))
        .route("/office/passes", get(passes::list))
        .route("/office/passes/new", get_and_post(passes::new, passes::make))
        .route("/office/passes/{id}/end", get_and_post(passes::ask_end, passes::end))
        .route("/office/password", get_and_post(passwords::ask, passwords::change))
        .route("/office/gaps", get(gaps::list))
        .route("/office/records/{id}/add", get_and_post(gaps::new, gaps::add))
        .route("/office/people", get(people::list))
        .route("/office/people/new", get_and_post(people::new, people::add))
        .route("/office/people/{id}", get_and_post(people::one, people::change))
        .route("/office/people/{id}/credentials/new", get_and_post(credentials::new, credentials::add))
        .route("/office/credentials/{id}", get_and_post(credentials::one, credentials::change))
        .route("/office/people/{id}/password-code", get_and_post(passwords::ask_code, passwords::make_code))
        .route("/office/people/{id}/code", get_and_post(people::ask_code, people::make_code))
        .route("/office/phones/{id}/lock-out", get_and_post(people::ask_lock_out, people::lock_out))
}

/// Text within an address.
fn in_address(text: &str) -> String {
    form_urlencoded::byte_serialize(text.as_bytes()).collect()
}

/// A page with a form on it. Within this server the origin is told, so that a form can be known as one of its own pages';
/// to others nothing is told.
fn page(html: Result<String, askama::Error>) -> Response {
    let mut response = page_without_form(html);
    response.headers_mut().insert(header::REFERRER_POLICY, HeaderValue::from_static("same-origin"));
    response
}

fn page_without_form(html: Result<String, askama::Error>) -> Response {
    match html {
        Ok(html) => {
            let mut response = Html(html).into_response();
            response.headers_mut().insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(PAGE_POLICY));
            response
        }
        Err(error) => Problem::fault(&error).into_response(),
    }
}

#[derive(Template)]
#[template(path = "front.html")]
struct Front {
    version: &'static str,
    company: Option<String>,
    /// Each with its code, its name and the day on which it was read.
    sets: Vec<(String, String, String)>,
}

async fn front(_: Anyone, State(app): State<App>) -> Result<Response, Problem> {
    let company = store::people::company(app.store.reader()).await?.map(|(name, _)| name);
    let dates = office::dates(&app).await?;
    let sets = app
        .law()
        .rule_sets()
        .iter()
        .map(|set| &set.about)
        .map(|set| (set.code.clone(), set.name.clone(), dates.day(set.last_checked)))
        .collect();
    Ok(page_without_form(Front { version: env!("CARGO_PKG_VERSION"), company, sets }.render()))
}

#[derive(Template)]
#[template(path = "fault.html")]
struct FaultPage<'a> {
    problem: &'a Problem,
    id: &'a str,
}

/// A problem as somebody at a browser reads it: the same words under the same status.
pub fn fault(problem: &Problem, id: &str, headers: HeaderMap) -> Response {
    match (FaultPage { problem, id }).render() {
        Ok(html) => {
            let mut response = page_without_form(Ok(html));
            *response.status_mut() = problem.status();
            response.headers_mut().extend(problem.headers(headers));
            response
        }
        Err(error) => Problem::fault(&error).render(id, headers),
    }
}

#[derive(Template)]
#[template(path = "problem.html")]
struct ProblemPage {
    about: &'static About,
}

async fn problem(_: Anyone, Path(slug): Path<String>) -> Result<Response, Problem> {
    let about = KINDS.iter().find(|about| about.slug == slug).ok_or_else(|| Problem::not_found("kind of problem"))?;
    Ok(page_without_form(ProblemPage { about }.render()))
}

async fn style(_: Anyone) -> Response {
    ([(header::CONTENT_TYPE, "text/css; charset=utf-8")], include_str!("../../templates/page.css")).into_response()
}

async fn api_document(_: Anyone, headers: HeaderMap) -> Result<Response, Problem> {
    api_page::packed(openapi::DOCUMENT, "application/json", &headers)
}

/// The process answers.
async fn alive(_: Anyone) -> StatusCode {
    StatusCode::NO_CONTENT
}

/// What readiness warns of, while the server is ready.
#[derive(Serialize)]
struct Warnings {
    warnings: Vec<String>,
}

/// The book can be written, and every reader sees what was written last. What will stand against that soon is said beside it.
async fn ready(_: Anyone, State(app): State<App>) -> Result<Response, Problem> {
    app.store.ready().await?;
    let mut warnings: Vec<String> = app.space.low().iter().map(|left| left.sentence() + ".").collect();
    // Why is told to those who sign in: it may name folders.
    if let Some((since, _)) = app.store.metrics().backups_fail() {
        warnings.push(format!("Since {since} the copies of the records are not as they should be."));
    }
    if let Some((since, _)) = app.store.metrics().backup_late(app.clock.now()) {
        warnings.push(format!("No copy of the records was made since {since}."));
    }
    if warnings.is_empty() {
        return Ok(StatusCode::NO_CONTENT.into_response());
    }
    Ok(Json(Warnings { warnings }).into_response())
}
