//! What a person sees in a browser: the front page, the phone, the office, the owner's year, the explanations of problems,
//! the help and the API document. Rendered here; what is sent goes through the same API as any program's requests.

mod api_page;
mod applications;
mod attention;
mod calibrations;
mod clients;
mod credentials;
mod derivation;
mod equipment;
mod figures;
mod form;
mod help;
mod load_sheet;
mod local;
mod lots;
mod measurements;
mod office;
mod office_session;
mod people;
mod phone;
mod plans;
mod product_files;
mod products;
mod programmes;
mod properties;
mod reviews;
mod sections;
mod sessions;
mod settings;
mod soil_reports;
mod stock;
mod visits;
mod year;

use crate::{
    access::Anyone,
    openapi,
    problem::{About, KINDS, Problem},
    state::App,
    store,
};
use askama::Template;
use axum::{
    Router,
    extract::{DefaultBodyLimit, Path, State},
    http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header},
    response::{Html, IntoResponse, Response},
    routing::{get, post},
};

/// The pages' own policy: everything from this server, nothing inline.
const PAGE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";

/// Routes that are not part of the API.
pub fn routes() -> Router<App> {
    Router::new()
        .route("/", get(front))
        .route("/page.css", get(style))
        .route("/sign-in", get(sessions::sign_in).post(sessions::send_sign_in))
        .route("/sign-out", post(sessions::sign_out))
        .route("/reviews", get(reviews::list))
        .route("/reviews/{id}", get(reviews::one).post(reviews::close))
        .route("/rules", get(office_session::rules))
        .merge(desk_routes())
        .route("/year", get(year::year))
        .route("/year/{id}", get(year::client))
        .route("/records/{id}", get(applications::record))
        .route("/phone", get(phone::page))
        .route("/phone.css", get(phone::style))
        .route("/phone.webmanifest", get(phone::manifest))
        .route("/icon.svg", get(phone::icon))
        .route("/icon-full.svg", get(phone::icon_full))
        .route("/sw.js", get(phone::worker))
        .route("/modules/{name}", get(phone::module))
        .route("/problems/{slug}", get(problem))
        .route("/help", get(help::index))
        .route("/help/{slug}", get(help::topic))
        .route("/openapi.json", get(api_document))
        .route("/healthz", get(alive))
        .route("/readyz", get(ready))
        .route("/api-page", get(api_page::to_page))
        .route("/api-page/", get(api_page::page))
        .route("/api-page/{file}", get(api_page::file))
}

/// What the office and the owner find, enter and correct. A form is shown by GET and sent by POST to the same address.
fn desk_routes() -> Router<App> {
    Router::new()
        .route("/office", get(office::today))
        .route("/office/clients", get(clients::list))
        .route("/office/clients/new", get(clients::new).post(clients::add))
        .route("/office/clients/{id}", get(clients::one).post(clients::change))
        .route("/office/clients/{id}/properties/new", get(properties::new).post(properties::add))
        .route("/office/properties/{id}", get(properties::one))
        .route("/office/properties/{id}/edit", get(properties::edit).post(properties::change))
        .route("/office/properties/{id}/sections/new", get(sections::new).post(sections::add))
        .route("/office/properties/{id}/visits/new", get(visits::new).post(visits::add))
        .route("/office/sections/{id}", get(sections::one).post(sections::change))
        .route("/office/sections/{id}/measurements/new", get(measurements::new).post(measurements::add))
        .route(
            "/office/sections/{id}/measurements/shapes",
            get(measurements::new_shapes).post(measurements::add_shapes),
        )
        .route("/office/measurements/{id}", get(measurements::one).post(measurements::confirm))
        .route("/office/sections/{id}/soil-reports/new", get(soil_reports::new).post(soil_reports::add))
        .route("/office/soil-reports/{id}", get(soil_reports::one))
        .route("/office/visits/{id}", get(visits::one).post(visits::change))
        .route("/office/products", get(products::list))
        .route("/office/products/new", get(products::new).post(products::add))
        .route("/office/products/{id}", get(products::one))
        .route("/office/products/{id}/status", get(products::status).post(products::set_status))
        .route("/office/products/{id}/lots/new", get(lots::new).post(lots::add))
        .route("/office/products/{id}/stock/new", get(stock::new).post(stock::add))
        .route("/office/equipment", get(equipment::list))
        .route("/office/equipment/new", get(equipment::new).post(equipment::add))
        .route("/office/equipment/{id}", get(equipment::one).post(equipment::change))
        .route("/office/equipment/{id}/calibrations/new", get(calibrations::new).post(calibrations::add))
        .route("/office/calibrations/{id}", get(calibrations::one))
        .route("/office/load-sheet", get(load_sheet::sheet))
        .route("/office/programmes", get(programmes::list))
        .route("/office/programmes/new", get(programmes::new).post(programmes::add))
        .route("/office/programmes/{id}", get(programmes::one).post(programmes::change))
        .route("/office/programmes/{id}/plan", get(plans::of_company))
        .route("/office/programmes/{id}/visits/new", get(plans::new).post(plans::add))
        .route("/office/sections/{id}/plan", get(plans::of_section))
        .route(
            "/office/products/{id}/files/new",
            get(product_files::new).post(product_files::add).layer(DefaultBodyLimit::max(product_files::MOST_SENT)),
        )
        .route("/office/settings", get(settings::one).post(settings::change))
        .route("/office/people", get(people::list))
        .route("/office/people/new", get(people::new).post(people::add))
        .route("/office/people/{id}", get(people::one).post(people::change))
        .route("/office/people/{id}/credentials/new", get(credentials::new).post(credentials::add))
        .route("/office/credentials/{id}", get(credentials::one).post(credentials::change))
        .route("/office/people/{id}/code", get(people::ask_code).post(people::make_code))
        .route("/office/phones/{id}/lock-out", get(people::ask_lock_out).post(people::lock_out))
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
                .headers_mut()
                .insert(HeaderName::from_static("cross-origin-opener-policy"), HeaderValue::from_static("same-origin"));
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
        .law
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

/// The book can be written, and every reader sees what was written last.
async fn ready(_: Anyone, State(app): State<App>) -> Result<StatusCode, Problem> {
    app.store.ready().await?;
    Ok(StatusCode::NO_CONTENT)
}
