//! The picture of an enrolment code's link, made here so that no other server learns the code.

use base64::{Engine, engine::general_purpose::STANDARD};
use qrcode::{EcLevel, QrCode, render::svg};

use crate::problem::Problem;

/// Width of the picture in pixels at least; it is drawn in lines, so that it may be shown at any size.
const WIDTH: u32 = 280;

/// A one-time code as a link, and as its picture.
#[derive(Debug)]
pub struct Enrolment {
    /// Opened on the phone, it fills the code in. The code stands behind `#`, which no browser sends to a server.
    pub link: String,
    /// The link as a picture (SVG), to be held before the phone's camera.
    svg: String,
}

impl Enrolment {
    /// The picture as the source of an image on a page.
    pub fn picture(&self) -> String {
        format!("data:image/svg+xml;base64,{}", STANDARD.encode(&self.svg))
    }
}

/// The link and the picture of a code. `host` is the name under which the browser of the office knows this server.
pub fn enrolment_qr(code: &str, host: &str) -> Result<Enrolment, Problem> {
    let link = format!("{}://{host}/phone#{code}", scheme(host));
    let drawn = QrCode::with_error_correction_level(&link, EcLevel::M).map_err(|error| Problem::fault(&error))?;
    let svg = drawn.render::<svg::Color<'_>>().min_dimensions(WIDTH, WIDTH).build();
    Ok(Enrolment { link, svg })
}

/// Plain HTTP is spoken on this machine alone; everywhere else there is TLS, here or in a proxy before it.
fn scheme(host: &str) -> &'static str {
    let name = host.rsplit_once(':').map_or(host, |(name, _)| name);
    if matches!(name, "localhost" | "127.0.0.1" | "[::1]") { "http" } else { "https" }
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
        let across = made.svg.split("viewBox=\"0 0 ").nth(1).and_then(|rest| rest.split(' ').next());
        let across: u32 = across.and_then(|text| text.parse().ok()).expect("a width");
        assert_eq!(across % (33 + 8), 0, "{across}");
        let module = across / (33 + 8);
        let first = format!("M{} {}h", 4 * module, 4 * module);
        assert!(made.svg.contains(&first), "{}", &made.svg[..400]);
    }
}
