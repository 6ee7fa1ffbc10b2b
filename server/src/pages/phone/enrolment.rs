//! Enrolling a phone from the desk: who works here, and the picture of a code's link, made here so that no other server learns
//! the code.

use askama::Template;
use axum::{
    Json,
    extract::State,
    http::{HeaderMap, HeaderValue, header},
    response::{IntoResponse, Response},
};
use domain::actor::Role;
use qrcode::{EcLevel, QrCode, render::svg};
use serde::Serialize;

use super::super::{desk::Desk, page};
use crate::{
    app::App,
    problem::{FieldFault, Problem},
    reply::Span,
    store::{self, people::Person},
};

/// Longest code that is drawn: the server's own are half as long.
const LONGEST_CODE: usize = 60;
/// Width of the picture in pixels at least; it is drawn in lines, so that it may be shown at any size.
const WIDTH: u32 = 280;

/// A one-time code as a link, and as its picture.
#[derive(Debug, Serialize)]
pub struct Enrolment {
    /// Opened on the phone, it fills the code in. The code stands behind `#`, which no browser sends to a server.
    pub link: String,
    /// The link as a picture (SVG), to be held before the phone's camera.
    pub picture: String,
}

/// The link and the picture of a code. `host` is the name under which the browser of the office knows this server.
pub fn enrolment_qr(code: &str, host: &str) -> Result<Enrolment, Problem> {
    let link = format!("{}://{host}/phone#{code}", scheme(host));
    let drawn = QrCode::with_error_correction_level(&link, EcLevel::M).map_err(|error| Problem::fault(&error))?;
    let picture = drawn.render::<svg::Color<'_>>().min_dimensions(WIDTH, WIDTH).build();
    Ok(Enrolment { link, picture })
}

/// Plain HTTP is spoken on this machine alone; everywhere else there is TLS, here or in a proxy before it.
fn scheme(host: &str) -> &'static str {
    let name = host.rsplit_once(':').map_or(host, |(name, _)| name);
    if matches!(name, "localhost" | "127.0.0.1" | "[::1]") { "http" } else { "https" }
}

#[derive(Template)]
#[template(path = "phones.html")]
struct PhonesPage {
    people: Vec<Person>,
}

/// Whose phone may be enrolled: the office enrols technicians, the owner everybody.
pub async fn people(desk: Desk, State(app): State<App>) -> Result<Response, Problem> {
    let rows = store::people::list(app.store.reader(), Span { after: 0, take: 200 }).await?;
    let mine = |person: &Person| person.active && (desk.0.role == Role::Owner || person.role == Role::Technician);
    Ok(page(PhonesPage { people: rows.into_iter().map(|row| row.item).filter(mine).collect() }.render()))
}

/// Draws the link of the code that is sent. Nothing is kept: the code is shown once, and so is its picture.
pub async fn picture(_: Desk, headers: HeaderMap, code: String) -> Result<Response, Problem> {
    let plain =
        !code.is_empty() && code.len() <= LONGEST_CODE && code.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-');
    if !plain {
        let fault = FieldFault::at("", "wrong_format", "must be a code of letters, digits and hyphens");
        return Err(Problem::invalid(vec![fault]));
    }
    let host = headers.get(header::HOST).and_then(|value| value.to_str().ok()).unwrap_or("localhost");
    let drawn = enrolment_qr(&code, host)?;
    Ok(([(header::CACHE_CONTROL, HeaderValue::from_static("no-store"))], Json(drawn)).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_link_keeps_its_code_behind_the_hash_and_its_picture_has_a_quiet_zone() {
        let made = enrolment_qr("ABCDE-FGHJK-LMNPQ-RSTUV-WXYZ2-3", "book.example").expect("a picture");
        assert_eq!(made.link, "https://book.example/phone#ABCDE-FGHJK-LMNPQ-RSTUV-WXYZ2-3");
        assert_eq!(enrolment_qr("A", "127.0.0.1:8397").expect("a picture").link, "http://127.0.0.1:8397/phone#A");
        // 60 bytes at level M are version 4, 33 modules, and ISO/IEC 18004 wants four light modules on every side.
        let across = made.picture.split("viewBox=\"0 0 ").nth(1).and_then(|rest| rest.split(' ').next());
        let across: u32 = across.and_then(|text| text.parse().ok()).expect("a width");
        assert_eq!(across % (33 + 8), 0, "{across}");
        let module = across / (33 + 8);
        let first = format!("M{} {}h", 4 * module, 4 * module);
        assert!(made.picture.contains(&first), "{}", &made.picture[..400]);
    }
}
