//! What a person sees in a browser: the front page, the phone, the office, the owner's year, the explanations of problems and
//! the API document. Rendered here; what is sent goes through the same API as any program's requests.

mod desk;
mod office;
mod phone;
mod year;

use askama::Template;
use axum::{
    Router,
    extract::{Path, State},
    http::{HeaderName, HeaderValue, StatusCode, header},
    response::{Html, IntoResponse, Response},
    routing::{get, post},
};
use utoipa::openapi::OpenApi;
use utoipa_swagger_ui::{Config, SwaggerUi};

use crate::{
    access::Anyone,
    app::App,
    problem::{About, KINDS, Problem},
    store,
};

/// The pages' own policy: everything from this server, nothing inline.
const PAGE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";
/// The interactive API page brings its own script and style sheet, and marks some of its styles inline.
const API_PAGE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; font-src 'self'; connect-src 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Routes that are not part of the API.
pub fn routes(document: &OpenApi) -> Router<App> {
    let interactive = SwaggerUi::new("/api-page").config(Config::new(["/openapi.json"]).validator_url("none"));
    let interactive = Router::from(interactive).layer(axum::middleware::map_response(api_page_policy));
    let _ = document;
    Router::new()
        .route("/", get(front))
        .route("/page.css", get(style))
        .route("/sign-in", get(desk::sign_in))
        .route("/reviews", get(desk::reviews))
        .route("/rules", get(desk::rules))
        .route("/office", get(office::today))
        .route("/office/properties/{id}", get(office::property))
        .route("/year", get(year::year))
        .route("/year/{id}", get(year::client))
        .route("/records/{id}", get(year::record))
        .route("/phone", get(phone::page))
        .route("/phone.css", get(phone::style))
        .route("/phone.webmanifest", get(phone::manifest))
        .route("/icon.svg", get(phone::icon))
        .route("/icon-full.svg", get(phone::icon_full))
        .route("/phones", get(phone::enrolment::people))
        .route("/phones/picture", post(phone::enrolment::picture))
        .route("/sw.js", get(phone::worker))
        .route("/modules/{name}", get(phone::module))
        .route("/problems/{slug}", get(problem))
        .route("/openapi.json", get(api_document))
        .route("/healthz", get(alive))
        .route("/readyz", get(ready))
        .merge(interactive)
}

async fn api_page_policy(mut response: Response) -> Response {
    response.headers_mut().insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(API_PAGE_POLICY));
    response
}

fn page(html: Result<String, askama::Error>) -> Response {
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
    sets: Vec<(String, String, String)>,
}

async fn front(_: Anyone, State(app): State<App>) -> Result<Response, Problem> {
    let company = store::people::company(app.store.reader()).await?.map(|(name, _)| name);
    let sets = app
        .law
        .rule_sets()
        .iter()
        .map(|set| &set.about)
        .map(|set| (set.code.clone(), set.name.clone(), set.last_checked.to_string()))
        .collect();
    Ok(page(Front { version: env!("CARGO_PKG_VERSION"), company, sets }.render()))
}

#[derive(Template)]
#[template(path = "problem.html")]
struct ProblemPage {
    about: &'static About,
}

async fn problem(_: Anyone, Path(slug): Path<String>) -> Result<Response, Problem> {
    let about = KINDS.iter().find(|about| about.slug == slug).ok_or_else(|| Problem::not_found("kind of problem"))?;
    Ok(page(ProblemPage { about }.render()))
}

async fn style(_: Anyone) -> Response {
    ([(header::CONTENT_TYPE, "text/css; charset=utf-8")], include_str!("../../templates/page.css")).into_response()
}

async fn api_document(_: Anyone, State(app): State<App>) -> Response {
    ([(header::CONTENT_TYPE, "application/json")], app.document.clone()).into_response()
}

/// The process answers.
async fn alive(_: Anyone) -> StatusCode {
    StatusCode::NO_CONTENT
}

/// The database reads and writes.
async fn ready(_: Anyone, State(app): State<App>) -> Result<StatusCode, Problem> {
    store::people::company(app.store.reader()).await?;
    app.store.write(|_| Box::pin(async { Ok(()) })).await?;
    Ok(StatusCode::NO_CONTENT)
}
