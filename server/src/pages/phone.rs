//! The technician's phone: one page that is kept on the phone, its modules, and the worker that keeps it there.

pub mod enrolment;

use std::sync::LazyLock;

use axum::{
    extract::Path,
    http::{HeaderMap, HeaderValue, header},
    response::{IntoResponse, Response},
};

use crate::{access::Anyone, problem::Problem, secret::sha256};

/// Everything from this server, nothing inline; the worker and the requests too.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

const PAGE: &str = include_str!("../../templates/phone.html");
const STYLE: &str = include_str!("../../templates/phone.css");
const ICON: &str = include_str!("../../templates/icon.svg");
/// The same on a full ground, for phones that cut icons to a shape of their own.
const ICON_FULL: &str = include_str!("../../templates/icon-full.svg");
const WORKER: &str = include_str!("../../modules/sw.js");

/// The modules by name.
const MODULES: [(&str, &str); 25] = [
    ("air.js", include_str!("../../modules/air.js")),
    ("answer.js", include_str!("../../modules/answer.js")),
    ("api.js", include_str!("../../modules/api.js")),
    ("day.js", include_str!("../../modules/day.js")),
    ("dom.js", include_str!("../../modules/dom.js")),
    ("fields.js", include_str!("../../modules/fields.js")),
    ("files.js", include_str!("../../modules/files.js")),
    ("find.js", include_str!("../../modules/find.js")),
    ("gone.js", include_str!("../../modules/gone.js")),
    ("ground.js", include_str!("../../modules/ground.js")),
    ("kept.js", include_str!("../../modules/kept.js")),
    ("leaving.js", include_str!("../../modules/leaving.js")),
    ("parts.js", include_str!("../../modules/parts.js")),
    ("phone.js", include_str!("../../modules/phone.js")),
    ("print.js", include_str!("../../modules/print.js")),
    ("queue.js", include_str!("../../modules/queue.js")),
    ("receipt.js", include_str!("../../modules/receipt.js")),
    ("refused.js", include_str!("../../modules/refused.js")),
    ("seen.js", include_str!("../../modules/seen.js")),
    ("shelf.js", include_str!("../../modules/shelf.js")),
    ("stop.js", include_str!("../../modules/stop.js")),
    ("time.js", include_str!("../../modules/time.js")),
    ("used.js", include_str!("../../modules/used.js")),
    ("weather.js", include_str!("../../modules/weather.js")),
    ("work.js", include_str!("../../modules/work.js")),
];

/// The modules as they are sent: their comments and indents are a third of the bytes, and of no use to a browser.
static SENT: LazyLock<Vec<(&str, String)>> =
    LazyLock::new(|| MODULES.iter().map(|(name, text)| (*name, without_comments(text))).collect());

/// A module without the lines that hold a comment alone, and without indents. No text of a module goes over several lines, and
/// nothing follows the end of a comment that does.
fn without_comments(text: &str) -> String {
    let mut within = false;
    let mut sent = String::with_capacity(text.len());
    for line in text.lines().map(str::trim) {
        let (begins, ends) = (line.starts_with("/**"), line.ends_with("*/"));
        let alone = line.starts_with("//") || (begins && ends && line.matches("*/").count() == 1);
        let opens = begins && !line.contains("*/");
        if !within && !alone && !opens && !line.is_empty() {
            sent.push_str(line);
            sent.push('\n');
        }
        within = if within { !ends } else { opens };
    }
    sent
}

/// The worker with the version of what it keeps, so that a new build replaces all of it at once.
static VERSIONED_WORKER: LazyLock<String> = LazyLock::new(|| {
    let all: String =
        MODULES.iter().map(|(_, text)| *text).chain([PAGE, STYLE, ICON, ICON_FULL, MANIFEST, WORKER]).collect();
    WORKER.replace("'VERSION'", &format!("'{}'", &sha256(&all)[..16]))
});

const MANIFEST: &str = r##"{"name":"Swardbook: today's stops","short_name":"Swardbook","id":"/phone","start_url":"/phone","scope":"/phone","display":"standalone","lang":"en","background_color":"#fdfefb","theme_color":"#1f3d16","icons":[{"src":"/icon.svg","sizes":"any","type":"image/svg+xml","purpose":"any"},{"src":"/icon-full.svg","sizes":"any","type":"image/svg+xml","purpose":"maskable"}]}"##;

fn answer(kind: &'static str, body: impl Into<axum::body::Body>) -> Response {
    ([(header::CONTENT_TYPE, kind)], body.into()).into_response()
}

pub async fn page(_: Anyone) -> Response {
    let mut headers = HeaderMap::new();
    headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
    (headers, answer("text/html; charset=utf-8", PAGE)).into_response()
}

pub async fn style(_: Anyone) -> Response {
    answer("text/css; charset=utf-8", STYLE)
}

pub async fn icon(_: Anyone) -> Response {
    answer("image/svg+xml", ICON)
}

pub async fn icon_full(_: Anyone) -> Response {
    answer("image/svg+xml", ICON_FULL)
}

pub async fn manifest(_: Anyone) -> Response {
    answer("application/manifest+json", MANIFEST)
}

/// A worker's requests are held to the policy of its own script, not to the page's.
pub async fn worker(_: Anyone) -> Response {
    let mut headers = HeaderMap::new();
    headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
    (headers, answer("text/javascript; charset=utf-8", VERSIONED_WORKER.as_str())).into_response()
}

pub async fn module(_: Anyone, Path(name): Path<String>) -> Result<Response, Problem> {
    let found = SENT.iter().find(|(known, _)| *known == name);
    let (_, text) = found.ok_or_else(|| Problem::not_found("module"))?;
    Ok(answer("text/javascript; charset=utf-8", text.as_str()))
}
