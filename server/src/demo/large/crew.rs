//! The technicians with their phones and spreaders, the products with their lots, and how the machines were calibrated.

use serde_json::{Value, json};

use crate::demo::{
    company::{self, Shelf, Staff},
    http::Caller,
};

/// One who goes out.
#[derive(Debug, Clone)]
pub struct Technician {
    pub person: String,
    pub phone: Caller,
    pub spreader: String,
}

/// What the company has in its store.
#[derive(Debug)]
pub struct Store {
    pub shelf: Shelf,
    pub light: String,
    pub lime: String,
    /// Of the autumn before, of the spring, of the summer, of this autumn, of the lime, and one more of the spring.
    pub lots: [String; 6],
}

/// A label that has the one page which a reader needs to see that it is one.
const LABEL: &[u8] =
    b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n\
3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 300 144]/Contents 4 0 R/Resources<</Font<</F 5 0 R>>>>>>endobj\n\
4 0 obj<</Length 49>>stream\nBT /F 14 Tf 20 70 Td (Label of an invented product) Tj ET\nendstream endobj\n\
5 0 obj<</Type/Font/Subtype/Type1/BaseFont/Helvetica>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n";

fn lot(product: &str, number: &str, received_on: &str, received_lb: &str) -> Value {
    json!({
        "product_id": product, "lot_number": number, "supplier": "Sample Supply", "received_on": received_on, "received_lb": received_lb,
    })
}

async fn product(office: &Caller, name: &str, analysis: [&str; 4], more: Value) -> Result<String, String> {
    let [nitrogen, slow, phosphate, potash] = analysis;
    let mut label = json!({
        "form": "granular", "nitrogen_percent": nitrogen, "slow_nitrogen_percent": slow, "phosphate_percent": phosphate, "potash_percent": potash,
    });
    if let (Some(label), Value::Object(more)) = (label.as_object_mut(), more) {
        label.extend(more);
    }
    let product = json!({ "name": name, "label": label, "net_weight_lb": "50" });
    let product = office.made("/api/v1/products", &product).await?;
    office.file(&format!("/api/v1/products/{product}/files?kind=label"), LABEL.to_vec()).await?;
    Ok(product)
}

/// Products and the first lot; what comes later is delivered on its day.
pub async fn store(office: &Caller) -> Result<Store, String> {
    let spring = product(office, "Feed 30-0-6 (50 % slow)", ["30", "15", "0", "6"], json!({})).await?;
    let feed = product(office, "Feed 24-0-10 (30 % slow)", ["24", "7.2", "0", "10"], json!({})).await?;
    let establishment = json!({ "labelled_for_establishment": true });
    let starter = product(office, "Starter 16-22-8", ["16", "4", "22", "8"], establishment).await?;
    let light = product(office, "Feed 18-0-3 (60 % slow)", ["18", "10.8", "0", "3"], json!({})).await?;
    let stone = json!({ "printed": { "cce_percent": "90" } });
    let lime = product(office, "Lime, pelleted", ["0", "0", "0", "0"], stone).await?;
    product(office, "Organic 5-2-0", ["5", "5", "2", "0"], json!({ "organic": true })).await?;
    office.made("/api/v1/lots", &lot(&starter, "LOT-2025-2", "2025-08-26", "2000")).await?;
    let first = office.made("/api/v1/lots", &lot(&feed, "LOT-2025-1", "2025-08-26", "9000")).await?;
    let spreader = spreader(office, 1).await?;
    let shelf = Shelf { spring, feed, starter, spreader };
    let mut lots = <[String; 6]>::default();
    lots[0] = first;
    Ok(Store { shelf, light, lime, lots })
}

/// This season's deliveries, so much of the feed that the last round must be bought.
pub async fn deliver(office: &Caller, store: &mut Store, on: &str) -> Result<(), String> {
    let (spring, light, lime, feed) = (&store.shelf.spring, &store.light, &store.lime, &store.shelf.feed);
    if on < "2026-08-01" {
        store.lots[1] = office.made("/api/v1/lots", &lot(spring, "LOT-2026-1", on, "14000")).await?;
        store.lots[2] = office.made("/api/v1/lots", &lot(light, "LOT-2026-2", on, "2500")).await?;
        store.lots[4] = office.made("/api/v1/lots", &lot(lime, "LOT-2026-3", on, "45000")).await?;
        store.lots[5] = office.made("/api/v1/lots", &lot(spring, "LOT-2026-5", on, "1000")).await?;
    } else {
        store.lots[3] = office.made("/api/v1/lots", &lot(feed, "LOT-2026-4", on, "8000")).await?;
    }
    Ok(())
}

async fn spreader(office: &Caller, number: u8) -> Result<String, String> {
    let spreader = json!({
        "name": format!("Spreader {number:02}"), "kind": "rotary_spreader", "has_deflector": true, "hopper_lb": "120", "swath_ft": "12",
        "active": true, "calibration_limits": { "days": 180, "applications": 200 },
    });
    office.made("/api/v1/equipment", &spreader).await
}

/// The three technicians beside the first, and a trainee whose card has run out.
pub async fn crew(base: &str, staff: &Staff, store: &Store) -> Result<Vec<Technician>, String> {
    let nobody = Caller::nobody(base)?;
    let first = Technician {
        person: staff.technician.clone(),
        phone: staff.phone.clone(),
        spreader: store.shelf.spreader.clone(),
    };
    let mut crew = vec![first];
    // The last one's ends 25 days after the day of the demonstration.
    for (number, until) in [(2, "2026-11-30"), (3, "2026-12-31"), (4, "2026-10-10")] {
        let person = employ(staff, number, ("us-md-certified", until)).await?;
        let phone = company::enrol(&nobody, &staff.office, &person, number).await?;
        crew.push(Technician { person, phone, spreader: spreader(&staff.office, number).await? });
    }
    employ(staff, 5, ("us-md-trained", "2026-08-31")).await?;
    Ok(crew)
}

async fn employ(staff: &Staff, number: u8, (code, until): (&str, &str)) -> Result<String, String> {
    let named = if code == "us-md-trained" { "Trainee 01".to_owned() } else { format!("Tech {number:02}") };
    let person = staff.owner.made("/api/v1/people", &json!({ "name": named, "role": "technician" })).await?;
    let certificate = json!({
        "name": if number == 5 { "Card of a trained employee" } else { "Professional fertilizer applicator certificate" },
        "number": format!("SAMPLE-{number:04}"), "issued_by": "An invented authority", "rule_set": "us-md", "code": code,
        "valid_from": "2025-01-01", "valid_until": until,
    });
    staff.office.made(&format!("/api/v1/people/{person}/credentials"), &certificate).await?;
    Ok(person)
}

/// A walk of 125 ft at a swath of 8 ft, 1,000 sq ft, weighed before and after. The second spreader drifts by and by to 12 % more.
pub async fn calibrate(
    technician: &Technician,
    number: usize,
    product: &str,
    on: &str,
    drift: u32,
) -> Result<(), String> {
    let put_down = 312 * (100 + if number == 1 { drift } else { 0 }) / 100;
    let left = 1000 - put_down;
    let calibration = json!({
        "equipment_id": technician.spreader, "product_id": product, "calibrated_on": on, "setting": "14",
        "test": {
            "method": "course", "put_in_lb": "10", "left_over_lb": format!("{}.{:02}", left / 100, left % 100), "swath_ft": "8",
            "swath_by": "half_of_centre", "distance_ft": "125", "target_lb_per_1000_sqft": "3.12",
        },
    });
    technician.phone.made("/api/v1/calibrations", &calibration).await.map(drop)
}
