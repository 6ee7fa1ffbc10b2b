//! Whether a document is about what was asked for. A copy of another place's answer, however it came here, clears nothing.

use serde::Deserialize;
use serde_json::{Value, value::RawValue};

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
    coordinates: Option<Value>,
    /// Of a collection, each with coordinates of its own.
    geometries: Option<Vec<Self>>,
}

/// Where a document says that it is of.
#[derive(Debug, Clone, PartialEq)]
pub enum Positions {
    /// It does not say.
    Unsaid,
    /// It says what cannot be read, which may be anywhere.
    Unreadable,
    /// Longitude before latitude; one at least.
    At(Vec<(f64, f64)>),
}

/// Every position of a geometry.
pub fn positions(geometry: Option<&RawValue>) -> Positions {
    let Some(raw) = geometry.filter(|raw| raw.get() != "null") else { return Positions::Unsaid };
    let mut found = Vec::new();
    let read = serde_json::from_str::<Geometry>(raw.get()).ok().and_then(|geometry| gather(&geometry, &mut found));
    if read.is_none() || found.is_empty() { Positions::Unreadable } else { Positions::At(found) }
}

fn gather(geometry: &Geometry, found: &mut Vec<(f64, f64)>) -> Option<()> {
    if let Some(coordinates) = &geometry.coordinates {
        return gather_coordinates(coordinates, found);
    }
    geometry.geometries.as_ref()?.iter().try_for_each(|part| gather(part, found))
}

/// Positions stand alone, in lists, or in lists of lists, by the kind of the geometry. One may have an altitude beside its longitude and
/// latitude (section 3.1.1).
fn gather_coordinates(coordinates: &Value, found: &mut Vec<(f64, f64)>) -> Option<()> {
    let parts = coordinates.as_array()?;
    if !parts.first()?.is_number() {
        return parts.iter().try_for_each(|part| gather_coordinates(part, found));
    }
    let [longitude, latitude, beyond @ ..] = parts.as_slice() else { return None };
    if !beyond.iter().all(Value::is_number) {
        return None;
    }
    found.push((longitude.as_f64()?, latitude.as_f64()?));
    Some(())
}

/// Whether a geometry is the place and nothing else; nothing when there is none.
pub fn is_at(place: Place, positions: &Positions) -> Option<bool> {
    let (here_latitude, here_longitude) = place.degrees();
    let is_here = |(longitude, latitude): &(f64, f64)| {
        (latitude - here_latitude).abs() < ROUNDED && (longitude - here_longitude).abs() < ROUNDED
    };
    match positions {
        Positions::Unsaid => None,
        Positions::Unreadable => Some(false),
        Positions::At(positions) => Some(positions.iter().all(is_here)),
    }
}

/// Whether an outline's frame holds the place; nothing when there is no outline.
pub fn surrounds(place: Place, positions: &Positions) -> Option<bool> {
    let positions = match positions {
        Positions::Unsaid => return None,
        Positions::Unreadable => return Some(false),
        Positions::At(positions) => positions,
    };
    let (latitude, longitude) = place.degrees();
    let within = |of: fn(&(f64, f64)) -> f64, here: f64| {
        let least = positions.iter().map(of).fold(f64::INFINITY, f64::min);
        let most = positions.iter().map(of).fold(f64::NEG_INFINITY, f64::max);
        (least - CELL_EDGE..=most + CELL_EDGE).contains(&here)
    };
    Some(within(|at| at.0, longitude) && within(|at| at.1, latitude))
}

/// Metres to what is furthest away of a geometry; nothing when there is none that can be read.
pub fn furthest(place: Place, positions: &Positions) -> Option<i64> {
    let Positions::At(positions) = positions else { return None };
    positions.iter().map(|position| metres(place, *position)).max()
}

/// Metres between a place and a position, near enough for some miles.
#[expect(clippy::cast_possible_truncation, reason = "at most half around the earth")]
fn metres(place: Place, (longitude, latitude): (f64, f64)) -> i64 {
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

    fn read(text: &str) -> Positions {
        positions(Some(&RawValue::from_string(text.to_owned()).expect("JSON")))
    }

    #[test]
    fn a_geometry_of_whatever_form_is_no_accident() {
        assert_eq!((positions(None), read("null")), (Positions::Unsaid, Positions::Unsaid));
        for text in [
            "{}",
            "[]",
            "7",
            r#"{"coordinates":null}"#,
            r#"{"coordinates":[]}"#,
            r#"{"coordinates":[[[1]]]}"#,
            r#"{"coordinates":[1]}"#,
            r#"{"coordinates":[1,"2"]}"#,
            r#"{"coordinates":[[-76.49,38.97],["-95","39"]]}"#,
            r#"{"coordinates":[-76.49,38.97,null]}"#,
            r#"{"geometries":[]}"#,
            r#"{"geometries":[{"coordinates":[-76.49,38.97]},{}]}"#,
        ] {
            assert_eq!(read(text), Positions::Unreadable, "{text}");
            assert_eq!(
                (is_at(here(), &read(text)), surrounds(here(), &read(text))),
                (Some(false), Some(false)),
                "{text}"
            );
        }
        let at = |positions: &[(f64, f64)]| Positions::At(positions.to_vec());
        assert_eq!(surrounds(here(), &Positions::Unsaid), None);
        assert_eq!(surrounds(here(), &at(&[(-76.5, 38.96), (-76.47, 38.98)])), Some(true));
        assert_eq!(surrounds(here(), &at(&[(-95.0, 39.0), (-94.97, 39.02)])), Some(false));
        assert_eq!(is_at(here(), &at(&[(-76.4901, 38.9704)])), Some(true));
        assert_eq!(is_at(here(), &at(&[(-76.49, 38.98)])), Some(false));
        assert_eq!(is_at(here(), &at(&[(-76.49, 38.97), (-95.0, 39.0)])), Some(false));
    }

    /// RFC 7946: the geometries of section 3.1, and a third element of a position (section 3.1.1), which is an altitude.
    #[test]
    fn geometries_of_every_kind_are_read() {
        for text in [
            r#"{"type":"Point","coordinates":[-95,39]}"#,
            r#"{"type":"Point","coordinates":[-95,39,250.5]}"#,
            r#"{"type":"MultiPoint","coordinates":[[-95,39]]}"#,
            r#"{"type":"LineString","coordinates":[[-95,39,0],[-95,39,0]]}"#,
            r#"{"type":"Polygon","coordinates":[[[-95,39,0],[-95,39,0],[-95,39,0],[-95,39,0]]]}"#,
            r#"{"type":"MultiPolygon","coordinates":[[[[-95,39],[-95,39],[-95,39],[-95,39]]]]}"#,
            r#"{"type":"GeometryCollection","geometries":[{"type":"Point","coordinates":[-95,39]}]}"#,
        ] {
            assert_eq!(surrounds(Place::new(39.0, -95.0), &read(text)), Some(true), "{text}");
            assert_eq!(surrounds(here(), &read(text)), Some(false), "{text}");
        }
    }
}
