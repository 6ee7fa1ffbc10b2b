//! An invented company, made through the API as its people would make it.

use std::{
    collections::BTreeMap,
    sync::{Arc, Mutex},
};

use serde_json::{Value, json};
use tokio::sync::OnceCell;

use crate::{TestApp, User, new_id};

/// A company with one client, one property in one place, two lawn sections, a product in stock and a technician.
#[derive(Debug)]
pub struct Company {
    pub app: TestApp,
    pub owner: User,
    pub office: User,
    /// The technician, through an enrolled phone.
    pub phone: User,
    pub client: String,
    pub property: String,
    /// 8,200 sq ft of tall fescue without water near it.
    pub front: String,
    /// 5,000 sq ft.
    pub rear: String,
    /// `Feed 24-0-10 (30 % slow)`.
    pub feed: String,
    pub lot: String,
    pub visit: String,
}

impl Company {
    /// In Maryland, which has most kinds of rules.
    pub async fn in_maryland() -> Self {
        Self::under(&["us-md"]).await
    }

    /// Under the rule sets of a place.
    pub async fn under(rule_sets: &[&str]) -> Self {
        founded(rule_sets, true).await
    }

    /// On a server that is there. Everybody holds the certificate that the place asks for.
    pub async fn on(app: TestApp, rule_sets: &[&str]) -> Self {
        let company = Self::uncertified_on(app, rule_sets).await;
        for person in [&company.owner, &company.office, &company.phone] {
            for set in rule_sets {
                certify(&company.office, person.id.as_deref().unwrap_or_default(), set).await;
            }
        }
        company
    }

    /// In Maryland, where nobody holds the certificate that it asks for.
    pub async fn uncertified() -> Self {
        Self::uncertified_under(&["us-md"]).await
    }

    /// In a place where nobody holds the certificate that it asks for.
    pub async fn uncertified_under(rule_sets: &[&str]) -> Self {
        founded(rule_sets, false).await
    }

    /// The same people after the server was stopped and started again.
    pub async fn restarted(self) -> Self {
        let app = self.app.restart().await;
        let again = |user: &User| app.user(user.token.as_deref().unwrap_or_default(), user.id.clone());
        let (owner, office, phone) = (again(&self.owner), again(&self.office), again(&self.phone));
        Self { app, owner, office, phone, ..self }
    }

    /// The same people under limits of their own.
    pub async fn limited(self, limits: server::config::Limits) -> Self {
        let app = self.app.limited(limits).await;
        let again = |user: &User| app.user(user.token.as_deref().unwrap_or_default(), user.id.clone());
        let (owner, office, phone) = (again(&self.owner), again(&self.office), again(&self.phone));
        Self { app, owner, office, phone, ..self }
    }

    async fn uncertified_on(app: TestApp, rule_sets: &[&str]) -> Self {
        let owner = app.set_up().await;
        let office = office(&app, &owner).await;
        let (technician, phone) = technician(&app, &office, &owner, "Tech 01").await;
        let client = json!({ "name": "Client 001", "mailing_address": "1 Street A, Sampletown" });
        let client = office.post("/api/v1/clients", &client).await.expect(201).id();
        let property = property(&office, &client, rule_sets).await;
        let front = section(&office, &property, "front lawn", "8200").await;
        let rear = section(&office, &property, "rear lawn", "5000").await;
        for section in [&front, &rear] {
            soil_report(&office, section, "2025-10-02", "optimum", "0").await;
        }
        let feed = product(&office, "Feed 24-0-10 (30 % slow)", &label("24", "7.2", "0", "10")).await;
        let lot = lot(&office, &feed, "LOT-1", "2000").await;
        let visit = json!({
            "property_id": property, "person_id": technician, "planned_on": "2026-09-15", "product_id": feed,
            "section_ids": [front, rear], "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "0.75",
        });
        let visit = office.post("/api/v1/visits", &visit).await.expect(201).id();
        Self { app, owner, office, phone, client, property, front, rear, feed, lot, visit }
    }

    /// A plan for one section with so much product, on a mild dry day.
    pub fn plan(&self, section: &str, product_lb: &str) -> Value {
        json!({
            "property_id": self.property, "product_id": self.feed, "planned_on": "2026-09-15", "purpose": "maintenance",
            "equipment": "rotary_spreader_with_deflector", "ground": "moist", "weather": fair_weather(),
            "lines": [{ "section_id": section, "product_lb": product_lb }],
        })
    }

    /// A record of one section with so much product, of this morning, on a mild dry day.
    pub fn record(&self, section: &str, product_lb: &str) -> Value {
        json!({
            "property_id": self.property, "product_id": self.feed, "lot_id": self.lot, "visit_id": self.visit,
            "started_at": "2026-09-15T09:05:00-04:00", "finished_at": "2026-09-15T09:31:00-04:00", "purpose": "maintenance",
            "equipment": "rotary_spreader_with_deflector", "ground": "moist", "pavement_cleaned": true, "weather": fair_weather(),
            "lines": [{ "section_id": section, "product_lb": product_lb }],
        })
    }

    /// Puts a record under a new id and expects it to be stored.
    pub async fn put_down(&self, section: &str, product_lb: &str) -> String {
        let id = new_id();
        let _ =
            self.phone.put(&format!("/api/v1/applications/{id}"), &self.record(section, product_lb)).await.expect(201);
        id
    }

    /// Puts a record that a rule may stop, and acknowledges what stops it: it was done.
    pub async fn put_anyhow(&self, mut record: Value) -> String {
        let id = new_id();
        let path = format!("/api/v1/applications/{id}");
        let first = self.phone.put(&path, &record).await;
        if first.status != 201 {
            let findings = first.problem(422, "stopped-by-rules").body["findings"].clone();
            let stops = findings.as_array().into_iter().flatten().filter(|finding| finding["verdict"] == "stop");
            record["acknowledged"] = stops.map(|finding| finding["key"].clone()).collect();
            record["reason"] = json!("It was done.");
            let _ = self.phone.put(&path, &record).await.expect(201);
        }
        id
    }

    /// Puts three full loads down on the front lawn, on three earlier days: what one day sees counts as one application.
    pub async fn three_loads(&self) {
        for day in ["2026-09-01", "2026-09-05", "2026-09-09"] {
            let mut record = self.record(&self.front, "25.625");
            record["started_at"] = json!(format!("{day}T09:05:00-04:00"));
            record["finished_at"] = json!(format!("{day}T09:31:00-04:00"));
            let _ = self.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
        }
    }

    /// The client's statement of 2026.
    pub async fn statement(&self) -> Value {
        self.owner.get(&format!("/api/v1/statements?year=2026&client_id={}", self.client)).await.expect(200).body
    }
}

/// A closed book in which a company was founded, and what its people know of it. To found one takes longer than most tests, so that
/// it is done once for each place, and each test begins on a copy.
#[derive(Debug)]
struct Founded {
    book: Vec<u8>,
    /// Tokens and ids.
    owner: User,
    office: User,
    phone: User,
    client: String,
    property: String,
    front: String,
    rear: String,
    feed: String,
    lot: String,
    visit: String,
}

/// Rule sets, and whether everybody is certified.
type Place = (Vec<String>, bool);
static FOUNDED: Mutex<BTreeMap<Place, Arc<OnceCell<Founded>>>> = Mutex::new(BTreeMap::new());

/// The company of a place, on a copy of its book.
async fn founded(rule_sets: &[&str], certified: bool) -> Company {
    let place = (rule_sets.iter().map(ToString::to_string).collect(), certified);
    let at = Arc::clone(FOUNDED.lock().expect("no panic").entry(place).or_default());
    let found = async || {
        let app = TestApp::empty().await;
        let company =
            if certified { Company::on(app, rule_sets).await } else { Company::uncertified_on(app, rule_sets).await };
        Founded::of(company).await
    };
    at.get_or_init(found).await.begin().await
}

impl Founded {
    async fn of(company: Company) -> Self {
        let Company { app, owner, office, phone, client, property, front, rear, feed, lot, visit } = company;
        let folder = app.stop().await;
        let book = std::fs::read(folder.path().join("book.db")).expect("a closed book");
        Self { book, owner, office, phone, client, property, front, rear, feed, lot, visit }
    }

    async fn begin(&self) -> Company {
        let app = TestApp::on_copy_of(&self.book).await;
        let again = |user: &User| app.user(user.token.as_deref().unwrap_or_default(), user.id.clone());
        let (owner, office, phone) = (again(&self.owner), again(&self.office), again(&self.phone));
        let of = |id: &String| id.clone();
        let (client, property, front, rear) = (of(&self.client), of(&self.property), of(&self.front), of(&self.rear));
        let (feed, lot, visit) = (of(&self.feed), of(&self.lot), of(&self.visit));
        Company { app, owner, office, phone, client, property, front, rear, feed, lot, visit }
    }
}

/// Mild, dry, looked at: nothing for a weather rule to object to.
pub fn fair_weather() -> Value {
    json!({
        "air_temperature": { "air_temperature_f": "71.5", "source": "technician", "observed_at": "2026-09-15T13:00:00Z" },
        "rain_forecast": [{ "rain_in": "0.05", "hours": 24, "source": "technician", "issued_at": "2026-09-15T12:30:00Z" }],
        "alerts": { "active": [], "source": "technician", "looked_at": "2026-09-15T12:30:00Z" },
    })
}

/// A granular label by its percentages.
pub fn label(nitrogen: &str, slow: &str, phosphate: &str, potash: &str) -> Value {
    json!({
        "form": "granular", "nitrogen_percent": nitrogen, "slow_nitrogen_percent": slow, "phosphate_percent": phosphate,
        "potash_percent": potash,
    })
}

pub async fn office(app: &TestApp, owner: &User) -> User {
    let body =
        json!({ "name": "Office 01", "role": "office", "sign_in": { "name": "office", "password": crate::PASSWORD } });
    let id = owner.post("/api/v1/people", &body).await.expect(201).id();
    app.sign_in("office", Some(id)).await
}

/// Adds a technician and enrols a phone with a one-time code.
pub async fn technician(app: &TestApp, office: &User, owner: &User, name: &str) -> (String, User) {
    let id = owner.post("/api/v1/people", &json!({ "name": name, "role": "technician" })).await.expect(201).id();
    let code = office.post(&format!("/api/v1/people/{id}/enrolment-codes"), &json!({})).await.expect(201).body;
    let enrol = json!({ "code": code["code"], "name": format!("Phone of {name}") });
    let enrolled = app.nobody().post("/api/v1/devices", &enrol).await.expect(201).body;
    let phone = app.user(enrolled["token"].as_str().unwrap_or_default(), Some(id.clone()));
    (id, phone)
}

/// Enters the certificate that a place asks for, where it asks for one. It has no end.
pub async fn certify(office: &User, person: &str, rule_set: &str) {
    let code = match rule_set.get(..5) {
        Some("us-md") => "us-md-certified",
        Some("us-fl") => "us-fl-limited-certified",
        Some("us-nj") => "us-nj-certified",
        Some("us-de") => "us-de-certified",
        Some("us-va") => "us-va-certified",
        Some("us-in") => "us-in-category-3b",
        _ => return,
    };
    let held = json!({
        "name": "Certificate of the state", "number": "C-1", "issued_by": "The state", "rule_set": &code[..5], "code": code,
        "valid_from": "2015-01-01",
    });
    let _ = office.post(&format!("/api/v1/people/{person}/credentials"), &held).await.expect(201);
}

pub async fn property(office: &User, client: &str, rule_sets: &[&str]) -> String {
    let body = json!({
        "client_id": client, "name": "Home", "address": "1 Street A, Sampletown", "postal_code": "21000", "time_zone": "America/New_York",
        "rule_sets": rule_sets,
    });
    office.post("/api/v1/properties", &body).await.expect(201).id()
}

/// A measured section of tall fescue beside a drive, with water and drains far away.
pub async fn section(office: &User, property: &str, name: &str, area: &str) -> String {
    let body = json!({
        "property_id": property, "name": name, "species": "tall_fescue", "water": "near", "water_distance_ft": "200",
        "touches_pavement": true, "established_on": "2015-09-01",
    });
    let id = office.post("/api/v1/sections", &body).await.expect(201).id();
    let measured =
        json!({ "area_sqft": area, "measured_on": "2025-03-01", "method": "wheel", "measured_by": "Office 01" });
    let _ = office.post(&format!("/api/v1/sections/{id}/measurements"), &measured).await.expect(201);
    id
}

pub async fn soil_report(
    office: &User,
    section: &str,
    sampled_on: &str,
    phosphorus: &str,
    recommended: &str,
) -> String {
    let body = json!({
        "sampled_on": sampled_on, "laboratory": "Sample Laboratory", "extractant": "mehlich_3", "cores": 12, "ph": "6.4",
        "phosphorus": phosphorus, "phosphate_recommended_lb_per_1000_sqft": recommended,
    });
    office.post(&format!("/api/v1/sections/{section}/soil-reports"), &body).await.expect(201).id()
}

pub async fn product(office: &User, name: &str, label: &Value) -> String {
    let body = json!({ "name": name, "label": label, "net_weight_lb": "50" });
    office.post("/api/v1/products", &body).await.expect(201).id()
}

pub async fn lot(office: &User, product: &str, number: &str, received: &str) -> String {
    let body = json!({
        "product_id": product, "lot_number": number, "supplier": "Sample Supply", "received_on": "2026-03-02", "received_lb": received,
    });
    office.post("/api/v1/lots", &body).await.expect(201).id()
}

/// A rotary spreader with a deflector, in use, whose calibrations the company lets stand for 365 days or 4 applications.
pub async fn rotary_spreader(office: &User) -> String {
    let body = json!({
        "name": "Spreader 01", "kind": "rotary_spreader", "has_deflector": true, "hopper_lb": "120", "swath_ft": "12", "active": true,
    });
    office.post("/api/v1/equipment", &body).await.expect(201).id()
}

/// A course of 125 ft at a swath of 8 ft on which 4.8 lb were put down: 4.8 lb on 1,000 sq ft, against a target of 5.
pub fn course(equipment: &str, product: &str, on: &str) -> Value {
    json!({
        "equipment_id": equipment, "product_id": product, "calibrated_on": on, "setting": "14",
        "test": {
            "method": "course", "put_in_lb": "10", "left_over_lb": "5.2", "swath_ft": "8", "swath_by": "half_of_centre",
            "distance_ft": "125", "target_lb_per_1000_sqft": "5",
        },
    })
}
