//! Clients with their properties, and the lawns there: as many as two technicians' trucks would carry, and a few large ones.

use serde_json::{Value, json};

use super::{
    names::{Dice, Names},
    plants,
};
use crate::demo::{
    company::Place,
    http::{Caller, expect, together},
};

/// Square feet of lawn of a home, in the shape of a log-normal distribution about 7,500.
const HOMES: [u32; 16] = [
    3_200, 4_100, 4_800, 5_400, 6_000, 6_600, 7_100, 7_500, 8_000, 8_700, 9_400, 10_300, 11_600, 13_400, 16_800, 26_000,
];
const GREENS: [&str; 5] = ["entrance", "north court", "south court", "green by the gate", "long verge"];

/// A section as it is to be entered, and what the season needs to know of it.
#[derive(Debug, Clone)]
pub struct Lawn {
    name: &'static str,
    pub area: u32,
    pub species: &'static str,
    water_ft: Option<u32>,
    outlined: bool,
    sampled_on: &'static str,
    ph: u32,
    phosphorus: (&'static str, u32),
}

/// A client and the one property.
#[derive(Debug, Clone)]
pub struct Plot {
    pub number: usize,
    client: String,
    street: String,
    town: String,
    postal_code: &'static str,
    phone: String,
    pub rule_set: &'static str,
    at: (f64, f64),
    pub lawns: Vec<Lawn>,
}

impl Plot {
    /// The most acid lawns get lime in summer.
    pub fn wants_lime(&self) -> bool {
        self.lawns.iter().any(|lawn| lawn.ph < 59)
    }

    pub fn address(&self) -> String {
        format!("{}, {}", self.street, self.town)
    }
}

/// All plots, by the seed. The first two have the lawns of the small company, for the main job is done there.
pub fn plots(names: &mut Names) -> Vec<Plot> {
    let towns: Vec<String> = (0..8).map(|_| names.town()).collect();
    let streets: Vec<Vec<String>> = towns.iter().map(|_| (0..7).map(|_| names.street()).collect()).collect();
    (0..plants::CLIENTS).map(|number| plot(number, names, &towns, &streets)).collect()
}

fn plot(number: usize, names: &mut Names, towns: &[String], streets: &[Vec<String>]) -> Plot {
    // The last sixth lies in another state; neighbours have the same technician.
    let rule_set = if number >= 150 { "us-pa" } else { "us-md" };
    let district = if rule_set == "us-pa" { 6 + number % 2 } else { number / 25 };
    let large = number % 15 == 11;
    let client = if large { names.firm() } else { names.person() };
    let dice = &mut names.dice;
    let house = 1 + dice.below(240);
    let way = streets.get(district).and_then(|own| own.get(dice.below(7) as usize)).map_or("", String::as_str);
    // Within a county each, so that no other law than the one named lies there.
    let middle = if rule_set == "us-md" { (38.99, -76.58) } else { (40.27, -76.82) };
    let mut jitter = || f64::from(dice.below(6_000)) / 100_000.0 - 0.03;
    let at = (middle.0 + jitter(), middle.1 + jitter());
    let lawns = lawns(dice, number, large);
    let (area_code, line) = if number < 100 { ("410", number) } else { ("717", number - 100) };
    Plot {
        number,
        client,
        street: format!("{house} {way}"),
        town: towns.get(district).cloned().unwrap_or_default(),
        postal_code: ["21300", "21301", "21302", "21303", "21304", "21305", "17000", "17001"][district % 8],
        // 555-0100 to 555-0199 are kept free for stories.
        phone: format!("{area_code}-555-01{line:02}"),
        rule_set,
        at,
        lawns,
    }
}

/// The areas of a property's sections, in square feet.
fn areas(dice: &mut Dice, number: usize, large: bool) -> Vec<u32> {
    match number {
        0 => return vec![4_700, 3_250, 1_500],
        1 => return vec![5_400, 3_600],
        _ if large => return (0..4 + dice.below(2)).map(|_| 6_000 + 500 * dice.below(40)).collect(),
        _ => {}
    }
    let all = dice.pick(&HOMES).unwrap_or(7_500);
    let front = all * (35 + dice.below(20)) / 100;
    let strip = (number % 9 == 4).then(|| 900 + 100 * dice.below(12));
    [Some(front), Some(all - front), strip].into_iter().flatten().map(|area| area / 10 * 10).collect()
}

fn lawns(dice: &mut Dice, number: usize, large: bool) -> Vec<Lawn> {
    let plain = number < 2;
    let species = match dice.below(10) {
        _ if plain => "tall_fescue",
        0 => "fine_fescue",
        1 | 2 => "kentucky_bluegrass",
        _ => "tall_fescue",
    };
    let names: &[&'static str] = if large { &GREENS } else { &["front lawn", "rear lawn", "side strip"] };
    let areas = areas(dice, number, large).into_iter().zip(names).enumerate();
    let lawn = |(at, (area, name)): (usize, (u32, &&'static str))| {
        let reading = 24 + dice.below(60);
        let near = dice.below(9) == 0 && !plain;
        let sampled = dice.pick(&["2024-03-11", "2024-10-01", "2025-03-18", "2025-06-10"]).unwrap_or_default();
        Lawn {
            name,
            area,
            species,
            water_ft: near.then(|| 18 + dice.below(20)),
            outlined: at == 0 && number % 3 == 2,
            sampled_on: plants::sampled_on(number, at).unwrap_or(sampled),
            ph: if plain { 64 } else { 56 + dice.below(13) },
            phosphorus: (
                if reading < 30 {
                    "low"
                } else if reading < 70 {
                    "optimum"
                } else {
                    "high"
                },
                reading,
            ),
        }
    };
    areas.map(lawn).collect()
}

/// Enters all of them, several at once.
pub async fn enter(office: &Caller, plots: &[Plot]) -> Result<Vec<Place>, String> {
    together(plots.iter().map(|plot| place(office, plot))).await
}

async fn place(office: &Caller, plot: &Plot) -> Result<Place, String> {
    let address = plot.address();
    let client = json!({
        "name": plot.client, "mailing_address": format!("{address} {}", plot.postal_code), "phone": plot.phone,
        "email": format!("client-{:03}@example.com", plot.number + 1),
    });
    let client = office.made("/api/v1/clients", &client).await?;
    let property = json!({
        "client_id": client, "name": if plot.lawns.len() > 3 { "Grounds" } else { "Home" }, "address": address,
        "postal_code": plot.postal_code, "time_zone": "America/New_York", "rule_sets": [plot.rule_set],
        "latitude": plot.at.0, "longitude": plot.at.1, "local_rules_checked_on": "2025-08-26",
    });
    let property = office.made("/api/v1/properties", &property).await?;
    let mut sections = Vec::new();
    for (at, lawn) in plot.lawns.iter().enumerate() {
        sections.push(section(office, plot, &property, at, lawn).await?);
    }
    Ok(Place { client, property, sections })
}

/// A measured, sampled section: its id, and its area as the server has it.
async fn section(
    office: &Caller,
    plot: &Plot,
    property: &str,
    at: usize,
    lawn: &Lawn,
) -> Result<(String, u32), String> {
    // A distance is known of every lawn, because laws count from drains as from water.
    let section = json!({
        "property_id": property, "name": lawn.name, "species": lawn.species, "water": "near",
        "water_distance_ft": lawn.water_ft.unwrap_or(60).to_string(), "touches_pavement": at == 0,
        "established_on": "2012-09-10", "maintenance": if lawn.species == "fine_fescue" { "low" } else { "high" },
        "clippings": "taken", "shade": "light",
    });
    let section = office.made("/api/v1/sections", &section).await?;
    let path = format!("/api/v1/sections/{section}/measurements");
    let measured = expect(office.post(&path, &measurement(plot, at, lawn)).await?, 201, "a measurement")?;
    let area = measured["area_sqft"].as_str().and_then(|area| area.split('.').next()?.parse().ok()).unwrap_or(0);
    let path = format!("/api/v1/sections/{section}/soil-reports");
    office.made(&path, &soil_report(lawn, lawn.sampled_on)).await?;
    Ok((section, area))
}

fn measurement(plot: &Plot, at: usize, lawn: &Lawn) -> Value {
    let told = |method: &str, area: u32| json!({ "area_sqft": area.to_string(), "measured_on": "2025-02-20", "method": method, "measured_by": "Office 01" });
    if plants::is_mismeasured(plot.number, at) {
        return told("aerial_image", lawn.area * 6 / 5);
    }
    if lawn.outlined { outline(plot, lawn) } else { told("wheel", lawn.area) }
}

/// An outline with seven corners about a house, its drive left out and a drain beside it.
fn outline(plot: &Plot, lawn: &Lawn) -> Value {
    let wide = f64::from(lawn.area).sqrt() * 1.25;
    let deep = f64::from(lawn.area) / wide * 1.2;
    let corner = |east: f64, north: f64| {
        let (latitude, longitude) = plot.at;
        // Feet in a degree, near enough for an invented lawn.
        let feet = 364_800.0 * latitude.to_radians().cos();
        let digits = |value: f64| (value * 1e7).round() / 1e7;
        json!([digits(longitude + east / feet), digits(latitude + north / 364_500.0)])
    };
    let ring = |corners: &[(f64, f64)]| corners.iter().map(|(east, north)| corner(*east, *north)).collect::<Vec<_>>();
    let (x, y) = (wide, deep);
    let edge = [
        (0.0, 0.0),
        (x * 0.5, -y * 0.05),
        (x, 0.0),
        (x, y * 0.8),
        (x * 0.82, y),
        (x * 0.3, y * 1.04),
        (0.0, y * 0.9),
        (0.0, 0.0),
    ];
    let drive =
        [(x * 0.7, -y * 0.1), (x * 0.8, -y * 0.1), (x * 0.8, y * 0.55), (x * 0.7, y * 0.55), (x * 0.7, -y * 0.1)];
    let polygon = |corners: &[(f64, f64)]| json!({ "shape": "outline", "outline": { "type": "Polygon", "coordinates": [ring(corners)] } });
    let drain = json!({ "kind": "drain", "distance_ft": "10", "rule": "Kept by the company", "positions": [corner(x * 0.25, -y * 0.05)] });
    json!({
        "measured_on": "2025-02-20", "method": "gps_outline", "measured_by": "Office 01",
        "from": { "lawn": [polygon(&edge)], "not_lawn": [polygon(&drive)], "keep_off": [drain] },
    })
}

/// What the laboratory says of a lawn, as sampled on a day.
pub fn soil_report(lawn: &Lawn, sampled_on: &str) -> Value {
    let value = |nutrient: &str, reading: u32| json!({ "nutrient": nutrient, "reading": reading.to_string(), "unit": "ppm", "basis": "element" });
    let lime = if lawn.ph < 59 { "25" } else { "0" };
    let (rated, phosphorus) = lawn.phosphorus;
    json!({
        "sampled_on": sampled_on, "laboratory": "Sample Laboratory", "laboratory_table": "penn_state_home_lawn",
        "extractant": "mehlich_3", "cores": 12, "depth_in": "4", "ph": format!("{}.{}", lawn.ph / 10, lawn.ph % 10),
        "phosphorus": rated, "phosphate_recommended_lb_per_1000_sqft": if rated == "low" { "0.5" } else { "0" },
        "lime_recommended_lb_per_1000_sqft": lime, "values": [value("phosphorus", phosphorus), value("potassium", 60 + phosphorus)],
    })
}

#[cfg(test)]
mod tests {
    use std::collections::HashSet;

    use super::*;

    #[test]
    fn the_company_is_as_large_as_it_says_and_the_same_every_time() {
        let all = plots(&mut Names::of(11));
        assert_eq!(format!("{all:?}"), format!("{:?}", plots(&mut Names::of(11))));
        assert_ne!(format!("{all:?}"), format!("{:?}", plots(&mut Names::of(12))));
        let sections: usize = all.iter().map(|plot| plot.lawns.len()).sum();
        assert!(all.len() == 180 && (380..440).contains(&sections), "{sections}");
        let mut sizes: Vec<u32> = all.iter().map(|plot| plot.lawns.iter().map(|lawn| lawn.area).sum()).collect();
        sizes.sort_unstable();
        assert!((6_500..9_500).contains(&sizes[90]), "half of the properties have less than {}", sizes[90]);
        // The main job is the same as on the small company.
        assert_eq!(all[0].lawns.iter().map(|lawn| lawn.area).collect::<Vec<_>>(), [4_700, 3_250, 1_500]);
    }

    #[test]
    fn nobody_can_be_called_by_chance() {
        // 555-0100 to 555-0199 are set aside for fictitious use (Industry Numbering Committee, 555 NXX Assignment Guidelines).
        let all = plots(&mut Names::of(11));
        let numbers: HashSet<&str> = all.iter().map(|plot| plot.phone.as_str()).collect();
        assert_eq!(numbers.len(), 180);
        assert!(numbers.iter().all(|number| number.len() == 12 && number[3..].starts_with("-555-01")), "{numbers:?}");
    }

    #[test]
    fn an_outline_ends_where_it_begins_and_has_about_the_area_that_was_wanted() {
        let all = plots(&mut Names::of(11));
        let plot = all.iter().find(|plot| plot.lawns[0].outlined).unwrap();
        let drawn = outline(plot, &plot.lawns[0]);
        let ring = drawn["from"]["lawn"][0]["outline"]["coordinates"][0].as_array().unwrap();
        assert_eq!((ring.len(), ring.first()), (8, ring.last()));
    }
}
