//! The small invented company: a dozen clients, thirty lawn sections, two seasons. Names are numbers on purpose. And what the
//! large one has of it.

use domain::time::Instant;
use jiff::SignedDuration;
use serde_json::{Value, json};
use uuid::{NoContext, Timestamp, Uuid};

use super::http::{Caller, expect};
use crate::clock::MovedClock;

/// Who works with the book.
#[derive(Debug)]
pub struct Staff {
    pub owner: Caller,
    pub office: Caller,
    pub phone: Caller,
    pub technician: String,
    pub password: String,
}

/// A property with its sections: id and area in square feet.
#[derive(Debug)]
pub struct Place {
    pub client: String,
    pub property: String,
    pub sections: Vec<(String, u32)>,
}

/// The company's products, and its spreader.
#[derive(Debug)]
pub struct Shelf {
    pub spring: String,
    pub feed: String,
    pub starter: String,
    pub spreader: String,
}

pub fn phone_id(at: Instant) -> String {
    let millis = u64::try_from(at.millis()).unwrap_or(0);
    let time = Timestamp::from_unix(NoContext, millis / 1000, u32::try_from(millis % 1000).unwrap_or(0) * 1_000_000);
    Uuid::new_v7(time).to_string()
}

/// Sets the book up and signs everybody in, each with a password made for this demonstration alone.
pub async fn staff(base: &str, setup_code: &str) -> Result<Staff, String> {
    let nobody = Caller::nobody(base)?;
    let password = crate::secret::new_code().map_err(|problem| problem.detail)?.to_lowercase();
    let sign_in = |name: &str| json!({ "name": name, "password": password });
    let set_up = json!({
        "setup_code": setup_code, "company_name": "Demonstration Company", "time_zone": "America/New_York",
        "owner_name": "Owner 01", "sign_in": sign_in("owner"),
    });
    expect(nobody.post("/api/v1/setup", &set_up).await?, 201, "the set-up")?;
    let session = expect(nobody.post("/api/v1/sessions", &sign_in("owner")).await?, 201, "signing in")?;
    let owner = nobody.with(&session["token"]);
    let office = json!({ "name": "Office 01", "role": "office", "sign_in": sign_in("office") });
    owner.made("/api/v1/people", &office).await?;
    let session = expect(nobody.post("/api/v1/sessions", &sign_in("office")).await?, 201, "signing in")?;
    let office = nobody.with(&session["token"]);
    let technician = owner.made("/api/v1/people", &json!({ "name": "Tech 01", "role": "technician" })).await?;
    let certificate = json!({
        "name": "Professional fertilizer applicator certificate", "number": "SAMPLE-0001", "issued_by": "An invented authority",
        "rule_set": "us-md", "code": "us-md-certified", "valid_from": "2025-01-01", "valid_until": "2026-11-30",
    });
    office.made(&format!("/api/v1/people/{technician}/credentials"), &certificate).await?;
    let phone = enrol(&nobody, &office, &technician, 1).await?;
    Ok(Staff { owner, office, phone, technician, password })
}

/// Enrols a phone with a one-time code.
pub async fn enrol(nobody: &Caller, office: &Caller, technician: &str, number: u8) -> Result<Caller, String> {
    let code = office.post(&format!("/api/v1/people/{technician}/enrolment-codes"), &json!({})).await?;
    let code = expect(code, 201, "the enrolment code")?;
    let device = json!({ "code": code["code"], "name": format!("Phone of Tech {number:02}") });
    let enrolled = nobody.post("/api/v1/devices", &device).await?;
    Ok(nobody.with(&expect(enrolled, 201, "enrolling")?["token"]))
}

fn label(nitrogen: &str, slow: &str, phosphate: &str, potash: &str, establishment: bool) -> Value {
    json!({
        "form": "granular", "nitrogen_percent": nitrogen, "slow_nitrogen_percent": slow, "phosphate_percent": phosphate,
        "potash_percent": potash, "labelled_for_establishment": establishment,
    })
}

/// Labels and a first delivery of each.
pub async fn shelf(office: &Caller) -> Result<Shelf, String> {
    let mut ids = Vec::new();
    let labels = [
        ("Feed 30-0-6 (50 % slow)", label("30", "15", "0", "6", false)),
        ("Feed 24-0-10 (30 % slow)", label("24", "7.2", "0", "10", false)),
        ("Starter 16-22-8", label("16", "4", "22", "8", true)),
    ];
    // So much of each that the autumn's second round must be bought.
    for ((name, label), received) in labels.into_iter().zip(["8000", "1500", "8000"]) {
        let product =
            office.made("/api/v1/products", &json!({ "name": name, "label": label, "net_weight_lb": "50" })).await?;
        let lot = json!({
            "product_id": product, "lot_number": "LOT-2025-1", "supplier": "Sample Supply", "received_on": "2025-03-03", "received_lb": received,
        });
        office.made("/api/v1/lots", &lot).await?;
        ids.push(product);
    }
    let spreader = json!({
        "name": "Spreader 01", "kind": "rotary_spreader", "has_deflector": true, "hopper_lb": "120", "swath_ft": "12", "active": true,
    });
    let spreader = office.made("/api/v1/equipment", &spreader).await?;
    match <[String; 3]>::try_from(ids) {
        Ok([spring, feed, starter]) => Ok(Shelf { spring, feed, starter, spreader }),
        Err(_) => Err("a product is missing".to_owned()),
    }
}

/// A client with one property and its measured, sampled sections.
pub async fn place(office: &Caller, number: usize, rule_set: &str, areas: &[u32]) -> Result<Place, String> {
    let client =
        json!({ "name": format!("Client {number:03}"), "mailing_address": format!("{number} Street A, Sampletown") });
    let client = office.made("/api/v1/clients", &client).await?;
    // Near Annapolis and near Harrisburg.
    let (latitude, longitude) = if rule_set == "us-md" { (38.97, -76.49) } else { (40.27, -76.88) };
    let property = json!({
        "client_id": client, "name": "Home", "address": format!("{number} Street A, Sampletown"), "postal_code": "21000",
        "time_zone": "America/New_York", "rule_sets": [rule_set], "latitude": latitude, "longitude": longitude,
    });
    let property = office.made("/api/v1/properties", &property).await?;
    let mut sections = Vec::new();
    for (at, area) in areas.iter().enumerate() {
        let name = ["front lawn", "rear lawn", "side strip"].get(at).copied().unwrap_or("lawn");
        let measured_distance = rule_set == "us-md";
        let near_water = number.is_multiple_of(4) && at == 1;
        let mut section = json!({
            "property_id": property, "name": name, "species": "tall_fescue", "water": "none", "touches_pavement": at == 0,
            "established_on": "2012-09-10", "maintenance": "high", "clippings": "taken", "shade": "light",
        });
        // Maryland counts from drains as from water, so that a distance is known of every lawn there.
        if measured_distance {
            section["water"] = json!("near");
            section["water_distance_ft"] = json!(if near_water { "12" } else { "60" });
        }
        let section = office.made("/api/v1/sections", &section).await?;
        let measured = json!({ "area_sqft": area.to_string(), "measured_on": "2025-02-20", "method": "wheel", "measured_by": "Office 01" });
        office.made(&format!("/api/v1/sections/{section}/measurements"), &measured).await?;
        let report = json!({
            "sampled_on": "2024-10-01", "laboratory": "Sample Laboratory", "extractant": "mehlich_3", "cores": 12, "ph": "6.4",
            "phosphorus": "optimum", "phosphate_recommended_lb_per_1000_sqft": "0",
        });
        office.made(&format!("/api/v1/sections/{section}/soil-reports"), &report).await?;
        sections.push((section, *area));
    }
    Ok(Place { client, property, sections })
}

/// One visit on a past day, recorded at its own time.
pub async fn past_visit(
    staff: &Staff,
    place: &Place,
    product: &str,
    rate: Rate,
    day: &str,
    clock: &MovedClock,
) -> Result<(), String> {
    let start = Instant::parse(&format!("{day}T14:00:00Z")).map_err(|error| error.to_string())?;
    clock.put(start.plus(SignedDuration::from_mins(45)));
    let sections: Vec<&String> = place.sections.iter().map(|(id, _)| id).collect();
    let mut planned = json!({
        "property_id": place.property, "person_id": staff.technician, "planned_on": day, "product_id": product, "section_ids": sections,
        "purpose": "maintenance",
    });
    let visit = staff.office.made("/api/v1/visits", &planned).await?;
    let lines: Vec<Value> = place
        .sections
        .iter()
        .map(|(id, area)| json!({ "section_id": id, "product_lb": rate.product_for(*area) }))
        .collect();
    let record = json!({
        "property_id": place.property, "product_id": product, "visit_id": visit, "started_at": start,
        "finished_at": start.plus(SignedDuration::from_mins(30)), "purpose": "maintenance", "equipment": "drop_spreader",
        "ground": "moist", "pavement_cleaned": true, "weather": fair_weather(start), "lines": lines,
    });
    let id = phone_id(start);
    expect(staff.phone.put(&format!("/api/v1/applications/{id}"), &record).await?, 201, "a record of the past")?;
    // The office closes what came in; a visit of a past day that nobody closed is something to look at.
    planned["status"] = json!("done");
    staff.office.change(&format!("/api/v1/visits/{visit}"), &planned).await.map(drop)
}

/// Hundredths of a pound of product on 1,000 square feet.
#[derive(Debug, Clone, Copy)]
pub struct Rate(pub u32);

impl Rate {
    /// Product for an area, in pounds and hundredths, rounded down.
    pub fn product_for(self, area: u32) -> String {
        let hundredths = u64::from(self.0) * u64::from(area) / 1000;
        format!("{}.{:02}", hundredths / 100, hundredths % 100)
    }
}

/// Mild, dry, and looked at.
pub fn fair_weather(at: Instant) -> Value {
    json!({
        "air_temperature": { "air_temperature_f": "68.5", "source": "technician", "observed_at": at },
        "rain_forecast": [{ "rain_in": "0.05", "hours": 24, "source": "technician", "issued_at": at }],
        "alerts": { "active": [], "source": "technician", "looked_at": at },
    })
}
