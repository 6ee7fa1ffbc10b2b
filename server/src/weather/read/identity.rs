//! Whether a document is about what was asked for. A copy of another place's answer, however it came here, clears nothing.

use serde::Deserialize;
use serde_json::value::RawValue;

use super::super::Place;

/// A part of a degree by which a place may differ from what was asked: places are asked to the thousandth.
const ROUNDED: f64 = 0.0011;
/// A forecast's cell is some 2.5 km wide, and its outline is drawn with four straight lines: two hundredths of a degree.
const CELL_EDGE: f64 = 0.02;
/// Metres of a degree of latitude, of a sphere of 6,371 km.
const METRES_OF_DEGREE: f64 = 111_195.0;

/// The outline or the place of a `GeoJSON` feature (RFC 7946, section 3.1), whatever its kind.
#[derive(Deserialize)]
struct Geometry {
    coordinates: Box<RawValue>,
}

/// Every position of a geometry, longitude before latitude. None when it says none.
pub fn positions(geometry: Option<&RawValue>) -> Vec<(f64, f64)> {
    let geometry = geometry.and_then(|raw| serde_json::from_str::<Geometry>(raw.get()).ok());
    let Some(geometry) = geometry else { return Vec::new() };
    let text = geometry.coordinates.get();
    if let Ok(point) = serde_json::from_str::<(f64, f64)>(text) {
        return vec![point];
    }
    let rings = serde_json::from_str::<Vec<Vec<(f64, f64)>>>(text).unwrap_or_default();
    rings.into_iter().flatten().collect()
}

/// Whether a geometry that is one point is the place; nothing when it is none.
pub fn is_at(place: Place, positions: &[(f64, f64)]) -> Option<bool> {
    let (longitude, latitude) = positions.first()?;
    let (here_latitude, here_longitude) = place.degrees();
    Some((latitude - here_latitude).abs() < ROUNDED && (longitude - here_longitude).abs() < ROUNDED)
}

/// Whether an outline's frame holds the place; nothing when there is no outline.
pub fn surrounds(place: Place, positions: &[(f64, f64)]) -> Option<bool> {
    if positions.is_empty() {
        return None;
    }
    let (latitude, longitude) = place.degrees();
    let within = |of: fn(&(f64, f64)) -> f64, here: f64| {
        let least = positions.iter().map(of).fold(f64::INFINITY, f64::min);
        let most = positions.iter().map(of).fold(f64::NEG_INFINITY, f64::max);
        (least - CELL_EDGE..=most + CELL_EDGE).contains(&here)
    };
    Some(within(|at| at.0, longitude) && within(|at| at.1, latitude))
}

/// Metres between a place and a position, near enough for some miles.
#[expect(clippy::cast_possible_truncation, reason = "at most half around the earth")]
pub fn metres(place: Place, (longitude, latitude): (f64, f64)) -> i64 {
    let (here_latitude, here_longitude) = place.degrees();
    let north = (latitude - here_latitude) * METRES_OF_DEGREE;
    let east = (longitude - here_longitude) * METRES_OF_DEGREE * here_latitude.to_radians().cos();
    north.hypot(east).round() as i64
}

/// The title of a list of alerts names the zone that it is for: `... for Sierra County (NMC051) NM`.
pub fn names_zone(title: &str, zone: &str) -> bool {
    title.contains(&format!("({zone})"))
}

/// Or the point: `... for 45.458 N, 122.6636 W`.
pub fn names_point(title: &str, place: Place) -> bool {
    let (latitude, longitude) = place.degrees();
    let is_here = |(north, east): &(f64, f64)| (north - latitude).abs() < ROUNDED && (east - longitude).abs() < ROUNDED;
    points(title).iter().any(is_here)
}

/// Whether it names any zone or point, so that it is another's when it does not name ours.
pub fn names_a_place(title: &str) -> bool {
    let is_zone = |word: &str| {
        let code = word.strip_prefix('(').and_then(|word| word.strip_suffix(')')).unwrap_or_default();
        code.len() == 6 && code.bytes().all(|byte| byte.is_ascii_alphanumeric())
    };
    title.split(' ').any(is_zone) || !points(title).is_empty()
}

/// The points that a title names, in degrees of north and east.
fn points(title: &str) -> Vec<(f64, f64)> {
    let words: Vec<&str> = title.split([' ', ',']).filter(|word| !word.is_empty()).collect();
    let signed = |number: &str, side: &str, plus: &str, minus: &str| {
        let value = number.parse::<f64>().ok()?;
        (side == plus).then_some(value).or((side == minus).then_some(-value))
    };
    let point = |words: &[&str]| match words {
        [north, n, east, e] => Some((signed(north, n, "N", "S")?, signed(east, e, "E", "W")?)),
        _ => None,
    };
    words.windows(4).filter_map(point).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn here() -> Place {
        Place::new(38.97, -76.49)
    }

    /// Titles as the service was seen to write them.
    #[test]
    fn titles_name_what_they_are_for() {
        assert!(names_point("current watches, warnings, and advisories for 38.97 N, 76.49 W", here()));
        assert!(names_point("Current watches, warnings, and advisories for 38.9701 N, 76.4900 W", here()));
        for title in
            ["for 38.98 N, 76.49 W", "for 38.97 S, 76.49 W", "for 38.97 N, 76.49 E", "for 38.97 N", "", "for x N, y W"]
        {
            assert!(!names_point(title, here()), "{title}");
        }
        assert!(names_a_place("advisories for 45.458 N, 122.6636 W") && names_a_place("for Sierra County (NMC051) NM"));
        assert!(!names_a_place("Current watches, warnings, and advisories for Florida"));
        assert!(names_zone("Current watches, warnings, and advisories for Sierra County (NMC051) NM", "NMC051"));
        assert!(!names_zone("Current watches, warnings, and advisories for Sierra County (NMC051) NM", "NMC05"));
    }

    /// A degree of latitude has some 111 km; one of longitude at 39 degrees some 86.
    #[test]
    fn distances_are_those_of_the_globe() {
        assert_eq!(metres(here(), (-76.49, 39.97)) / 1000, 111);
        assert_eq!(metres(here(), (-77.49, 38.97)) / 1000, 86);
    }

    #[test]
    fn a_geometry_of_whatever_form_is_no_accident() {
        for text in
            ["null", "{}", "[]", "7", "{\"coordinates\":null}", "{\"coordinates\":[[[1]]]}", "{\"coordinates\":[1]}"]
        {
            let raw = RawValue::from_string(text.to_owned()).expect("JSON");
            assert_eq!(positions(Some(&raw)), Vec::new(), "{text}");
        }
        assert_eq!(surrounds(here(), &[]), None);
        assert_eq!(surrounds(here(), &[(-76.5, 38.96), (-76.47, 38.98)]), Some(true));
        assert_eq!(surrounds(here(), &[(-95.0, 39.0), (-94.97, 39.02)]), Some(false));
        assert_eq!(is_at(here(), &[(-76.4901, 38.9704)]), Some(true));
        assert_eq!(is_at(here(), &[(-76.49, 38.98)]), Some(false));
    }
}
