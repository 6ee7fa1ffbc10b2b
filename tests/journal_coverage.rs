//! Each change of the book leaves exactly one journal entry, and one more for the dated entry that it makes; each refused act leaves
//! exactly one attempt, and a question none.

mod door;
mod land;

use std::collections::BTreeSet;

use harness::{
    PASSWORD, Reply, User,
    contract::{operation_id, operations},
    new_id,
    world::{Company, course, fair_weather, label, rotary_spreader},
};
use reqwest::Method;
use serde_json::{Value, json};

/// Operations that write without a journal entry.
const EXCEPTIONS: [(&str, &str); 8] = [
    ("create_session", "who is signed in is no part of the book; the token's row says who and when"),
    ("end_session", "as signing in"),
    ("end_own_sessions", "as signing in"),
    ("confirm_session", "as signing in"),
    ("compute_blend", "a question without effect, sent as POST because it has a body"),
    ("check_application", "a question without effect, sent as POST because it has a body"),
    (
        "confirm_rule_set",
        "there is nothing to confirm while the server has no other version; tests/rule_sets.rs shows its one entry",
    ),
    ("check_correction", "a question without effect, sent as POST because it has a body"),
];

/// Looks at the journal after every request.
struct Watch {
    owner: User,
    entries: Vec<Value>,
    covered: BTreeSet<&'static str>,
}

async fn journal(owner: &User) -> Vec<Value> {
    let mut entries = Vec::new();
    let mut path = "/api/v1/journal?limit=200".to_owned();
    loop {
        let page = owner.get(&path).await.expect(200).body;
        entries.extend(page["items"].as_array().unwrap().iter().cloned());
        let Some(cursor) = page["next_cursor"].as_str() else { return entries };
        path = format!("/api/v1/journal?limit=200&cursor={cursor}");
    }
}

impl Watch {
    async fn over(owner: &User) -> Self {
        Self { owner: owner.clone(), entries: journal(owner).await, covered: BTreeSet::new() }
    }

    /// The acts that were written since the last look.
    async fn acts(&mut self) -> Vec<String> {
        let now = journal(&self.owner).await;
        assert_eq!(now[..self.entries.len()], self.entries[..], "the journal's past changed");
        let new = now[self.entries.len()..].iter().map(|entry| entry["act"].as_str().unwrap().to_owned()).collect();
        self.entries = now;
        new
    }

    /// The request succeeded and left this one entry.
    async fn one(&mut self, reply: Reply, act: &str) -> Reply {
        self.these(reply, [act]).await
    }

    /// The request succeeded and left these entries.
    async fn these<const N: usize>(&mut self, reply: Reply, acts: [&str; N]) -> Reply {
        assert!((200..300).contains(&reply.status), "{} answered {}: {}", reply.asked, reply.status, reply.text);
        assert_eq!(self.acts().await, acts, "{}", reply.asked);
        let (method, path) = reply.asked.split_once(' ').unwrap();
        self.covered.extend(operation_id(method, path));
        reply
    }

    /// The request left no entry.
    async fn none(&mut self, reply: Reply, status: u16) -> Reply {
        assert_eq!(self.acts().await, [""; 0], "{}", reply.asked);
        reply.expect(status)
    }
}

async fn people(company: &Company, watch: &mut Watch) {
    let owner = &company.owner;
    let person = json!({ "name": "Tech 02", "role": "technician" });
    let key = "one-key-for-one-person";
    let made = watch.one(owner.post_with_key("/api/v1/people", key, &person).await, "person.added").await.id();
    let _ = watch.none(owner.post_with_key("/api/v1/people", key, &person).await, 201).await;
    let _ = watch.none(company.office.post("/api/v1/people", &person).await, 403).await;
    let path = format!("/api/v1/people/{made}");
    let change = json!({ "name": "Tech 2", "role": "technician" });
    let _ = watch.one(owner.put_version(&path, "\"v1\"", &change).await, "person.changed").await;
    let _ = watch.none(owner.put_version(&path, "\"v1\"", &change).await, 412).await;
    let signs_in =
        json!({ "name": "Office 02", "role": "office", "sign_in": { "name": "office2", "password": PASSWORD } });
    let second = watch.one(owner.post("/api/v1/people", &signs_in).await, "person.added").await.id();
    let own = company.app.sign_in("office2", None).await;
    let password = json!({ "old": PASSWORD, "new": "four other plain words" });
    let _ = watch.one(own.put("/api/v1/me/password", &password).await, "person.changed").await;
    assert!(!watch.entries.last().unwrap().to_string().contains("four other"), "the password is told");
    door::forgotten(company, watch, &second).await;
    let codes = format!("/api/v1/people/{made}/enrolment-codes");
    let code = watch.one(owner.post(&codes, &json!({})).await, "enrolment_code.made").await.body;
    assert!(!watch.entries.last().unwrap().to_string().contains(code["code"].as_str().unwrap()), "the code is told");
    let enrol = json!({ "code": code["code"], "name": "Phone" });
    let nobody = company.app.nobody();
    let device = watch.one(nobody.post("/api/v1/devices", &enrol).await, "device.enrolled").await.body;
    assert!(
        !watch.entries.last().unwrap().to_string().contains(device["token"].as_str().unwrap()),
        "the token is told"
    );
    let _ = watch.none(nobody.post("/api/v1/devices", &enrol).await, 401).await;
    let device = format!("/api/v1/devices/{}", device["device"]["id"].as_str().unwrap());
    let _ = watch.one(owner.delete(&device).await, "device.revoked").await;
    let _ = watch.none(owner.delete(&device).await, 200).await;
}

async fn settings(company: &Company, watch: &mut Watch) {
    let path = "/api/v1/settings";
    let change = json!({ "date_order": "month_day_year" });
    let _ = watch.one(company.owner.put_version(path, "\"v1\"", &change).await, "settings.changed").await;
    let _ = watch.none(company.owner.put_version(path, "\"v1\"", &change).await, 412).await;
    let _ = watch.none(company.office.put_version(path, "\"v2\"", &change).await, 403).await;
}

async fn stock(company: &Company, watch: &mut Watch) {
    let office = &company.office;
    let product = json!({ "name": "Feed 10-0-0", "label": label("10", "5", "0", "0"), "net_weight_lb": "50" });
    let made = watch.one(office.post("/api/v1/products", &product).await, "product.added").await.id();
    let status = format!("/api/v1/products/{made}/status");
    let hold = json!({ "status": "hold" });
    let _ = watch.one(office.put_version(&status, "\"v1\"", &hold).await, "product.status_changed").await;
    let lot = json!({
        "product_id": made, "lot_number": "LOT-2", "supplier": "Sample Supply", "received_on": "2026-03-02", "received_lb": "100",
    });
    let _ = watch.one(office.post("/api/v1/lots", &lot).await, "lot.received").await;
    let _ = watch.none(office.post("/api/v1/lots", &lot).await, 409).await;
    let spilled = json!({
        "product_id": made, "kind": "spilled", "mass_lb": "3", "moved_on": "2026-03-03", "reason": "A torn bag.",
    });
    let _ = watch.one(office.post("/api/v1/stock-movements", &spilled).await, "stock.moved").await;
    let visit = json!({
        "property_id": company.property, "person_id": company.phone.id, "planned_on": "2026-10-15", "product_id": company.feed,
        "section_ids": [company.front], "purpose": "maintenance",
    });
    let made = watch.one(office.post("/api/v1/visits", &visit).await, "visit.planned").await.id();
    let mut change = visit;
    change["status"] = json!("done");
    let path = format!("/api/v1/visits/{made}");
    let _ = watch.one(office.put_version(&path, "\"v1\"", &change).await, "visit.changed").await;
    let open = office.get(&format!("/api/v1/visits/{}", company.visit)).await.expect(200).body["version"].clone();
    let moves = json!({ "visits": [{ "id": company.visit, "version": open }], "planned_on": "2026-09-16" });
    let _ = watch.one(office.post("/api/v1/visits/moves", &moves).await, "visit.changed").await;
    let _ = watch.none(office.post("/api/v1/visits/moves", &moves).await, 200).await;
}

async fn credentials(company: &Company, watch: &mut Watch) {
    let (office, phone) = (&company.office, &company.phone);
    let of = format!("/api/v1/people/{}/credentials", phone.id.as_deref().unwrap());
    let held = json!({ "name": "Certificate", "number": "1", "issued_by": "A state", "valid_from": "2026-01-01" });
    let made = watch.one(office.post(&of, &held).await, "credential.added").await.id();
    let _ = watch.none(phone.post(&of, &held).await, 403).await;
    let path = format!("/api/v1/credentials/{made}");
    let _ = watch.one(office.put_version(&path, "\"v1\"", &held).await, "credential.changed").await;
    let _ = watch.none(office.put_version(&path, "\"v1\"", &held).await, 412).await;
}

async fn tools(company: &Company, watch: &mut Watch) {
    let (office, phone) = (&company.office, &company.phone);
    let spreader = json!({ "name": "Spreader 01", "kind": "rotary_spreader", "has_deflector": true, "active": true });
    let made = watch.one(office.post("/api/v1/equipment", &spreader).await, "equipment.added").await.id();
    let _ = watch.none(phone.post("/api/v1/equipment", &spreader).await, 403).await;
    let path = format!("/api/v1/equipment/{made}");
    let _ = watch.one(office.put_version(&path, "\"v1\"", &spreader).await, "equipment.changed").await;
    let _ = watch.none(office.put_version(&path, "\"v1\"", &spreader).await, 412).await;
    let key = "one-key-for-one-calibration";
    let test = course(&made, &company.feed, "2026-09-14");
    let _ = watch.one(phone.post_with_key("/api/v1/calibrations", key, &test).await, "calibration.added").await;
    let _ = watch.none(phone.post_with_key("/api/v1/calibrations", key, &test).await, 201).await;
    let _ =
        watch.none(phone.post("/api/v1/calibrations", &course(&made, &company.feed, "2027-09-14")).await, 422).await;
    let files = format!("/api/v1/products/{}/files?kind=label", company.feed);
    let file = watch.one(office.post_file(&files, "application/pdf", b"%PDF-1.7\n").await, "product_file.added").await;
    let told = watch.entries.last().unwrap().to_string();
    assert!(told.contains(file.body["sha256"].as_str().unwrap()), "the journal vouches for the bytes: {told}");
    let _ = watch.none(office.post_file(&files, "application/pdf", b"%PDF-1.7\n").await, 409).await;
    let blend = json!({
        "area_sqft": "1000", "products": [{ "product_id": company.feed }],
        "need": { "nitrogen_lb_per_1000_sqft": "0.5", "phosphate_lb_per_1000_sqft": "0", "potash_lb_per_1000_sqft": "0" },
    });
    let _ = watch.none(phone.post("/api/v1/blends", &blend).await, 200).await;
}

async fn season(company: &Company, watch: &mut Watch) {
    let office = &company.office;
    let mut programme = json!({
        "name": "Season", "season_year": 2026, "equipment": "drop_spreader",
        "rounds": [{ "name": "autumn", "from": "2026-09-20", "to": "2026-10-20" }],
        "products": [{ "product_id": company.feed, "bag_price_usd": "31", "may_buy": true }],
        "needs": [{ "nitrogen_lb_per_1000_sqft": "1.5", "because": "An experiment" }],
        "least_product_lb_per_1000_sqft": "0.1",
    });
    let made = watch.one(office.post("/api/v1/programmes", &programme).await, "programme.added").await.id();
    let path = format!("/api/v1/programmes/{made}");
    programme["name"] = json!("Season, second draft");
    let _ = watch.one(office.put_version(&path, "\"v1\"", &programme).await, "programme.changed").await;
    let _ = watch.none(office.put_version(&path, "\"v1\"", &programme).await, 412).await;
    let round = json!({
        "round": "autumn", "planned_on": "2026-10-01", "person_id": company.phone.id, "section_ids": [company.rear],
    });
    let visits = format!("{path}/visits");
    let _ = watch.one(office.post(&visits, &round).await, "visit.planned").await;
    let _ = watch.none(office.post(&visits, &round).await, 422).await;
    for question in [format!("{path}/plan"), format!("/api/v1/sections/{}/plan?programme_id={made}", company.front)] {
        let _ = watch.none(office.get(&question).await, 200).await;
    }
}

async fn acts(company: &Company, watch: &mut Watch) {
    let phone = &company.phone;
    let plan = company.plan(&company.rear, "5");
    let clearance = format!("/api/v1/clearances/{}", new_id());
    let _ = watch.one(phone.put(&clearance, &plan).await, "clearance.granted").await;
    let _ = watch.none(phone.put(&clearance, &plan).await, 200).await;
    let _ = watch.one(phone.delete(&clearance).await, "clearance.given_back").await;
    let _ = watch.none(phone.delete(&clearance).await, 200).await;
    let _ = watch.none(phone.post("/api/v1/checks", &plan).await, 200).await;

    let id = new_id();
    let application = format!("/api/v1/applications/{id}");
    let record = company.record(&company.front, "20");
    let _ = watch.one(phone.put(&application, &record).await, "application.recorded").await;
    let _ = watch.none(phone.put(&application, &record).await, 200).await;
    let added = json!({ "seen": { "sky": "clear" }, "from_the_book": true });
    let additions = format!("{application}/additions");
    let _ = watch.one(phone.post(&additions, &added).await, "addition.recorded").await;
    let _ = watch.none(phone.post(&additions, &json!({})).await, 422).await;
    let other = company.record(&company.front, "21");
    let _ = watch.none(phone.put(&application, &other).await, 409).await;

    let correction = format!("/api/v1/corrections/{}", new_id());
    let change = json!({ "application_id": id, "reason": "It was the neighbour's." });
    let _ = watch.none(phone.post("/api/v1/corrections/checks", &change).await, 200).await;
    let _ = watch.one(phone.put(&correction, &change).await, "application.corrected").await;
    let _ = watch.none(phone.put(&correction, &change).await, 200).await;
}

/// A refused act leaves one attempt, however often the same is sent; other content is another attempt.
async fn refusals(company: &Company, watch: &mut Watch) {
    let phone = &company.phone;
    let id = new_id();
    let mut record = company.record(&company.front, "260");
    let kept = company.put_down(&company.rear, "5").await;
    assert_eq!(watch.acts().await, ["application.recorded"]);
    let correction = json!({
        "application_id": kept, "reason": "Weighed again.",
        "change": { "lines": [{ "section_id": company.rear, "product_lb": "250" }] },
    });
    let plan = company.plan(&company.front, "260");
    let acts = [
        (format!("/api/v1/applications/{id}"), &record.clone()),
        (format!("/api/v1/clearances/{}", new_id()), &plan),
        (format!("/api/v1/corrections/{}", new_id()), &correction),
    ];
    for (path, body) in acts {
        let refused = phone.put(&path, body).await.problem(422, "stopped-by-rules");
        assert!(!refused.rules().is_empty());
        assert_eq!(watch.acts().await, ["attempt.refused"], "{path}");
        let _ = watch.none(phone.put(&path, body).await, 422).await;
    }
    record["lines"][0]["product_lb"] = json!("261");
    let path = format!("/api/v1/applications/{id}");
    let refused = phone.put(&path, &record).await.problem(422, "stopped-by-rules");
    assert_eq!(watch.acts().await, ["attempt.refused"]);
    // What truly happened is stored once its findings are acknowledged, and then it can be reviewed.
    let stops: Vec<&Value> = refused.body["findings"].as_array().unwrap().iter().collect();
    record["acknowledged"] = stops.iter().filter(|f| f["verdict"] == "stop").map(|f| f["key"].clone()).collect();
    record["reason"] = json!("The spreader was set for another product.");
    let _ = watch.one(phone.put(&path, &record).await, "application.recorded").await;
    let review = json!({ "note": "Spoke with the technician." });
    let path = format!("/api/v1/reviews/{id}");
    let _ = watch.one(company.owner.put(&path, &review).await, "record.reviewed").await;
    let _ = watch.none(company.owner.put(&path, &review).await, 200).await;
    let malformed = json!({ "weather": fair_weather() });
    let _ = watch.none(phone.put(&format!("/api/v1/applications/{}", new_id()), &malformed).await, 422).await;
}

#[tokio::test]
async fn each_change_leaves_exactly_one_entry() {
    let company = Company::in_maryland().await;
    let mut watch = Watch::over(&company.owner).await;
    // Before anybody is there the server has met its rule sets and made its key.
    let first: Vec<&Value> = watch.entries[..3].iter().map(|entry| &entry["act"]).collect();
    assert_eq!(first, ["rule_set.met", "signing_key.made", "company.set_up"]);
    assert_eq!(watch.entries.iter().filter(|entry| entry["act"] == "company.set_up").count(), 1);
    watch.covered.insert("create_company");
    people(&company, &mut watch).await;
    door::passes(&company, &mut watch).await;
    settings(&company, &mut watch).await;
    land::land(&company, &mut watch).await;
    stock(&company, &mut watch).await;
    tools(&company, &mut watch).await;
    credentials(&company, &mut watch).await;
    season(&company, &mut watch).await;
    acts(&company, &mut watch).await;
    refusals(&company, &mut watch).await;

    let changing: BTreeSet<String> =
        operations().into_iter().filter(|operation| operation.0 != "GET").map(|operation| operation.2).collect();
    let missing: Vec<&String> = changing
        .iter()
        .filter(|id| !watch.covered.contains(id.as_str()) && !EXCEPTIONS.iter().any(|exception| exception.0 == **id))
        .collect();
    assert!(
        missing.is_empty(),
        "If you are here because of {missing:?}: every operation that changes something needs a case in this file that \
         shows its one journal entry, or a line in EXCEPTIONS with the reason."
    );
    for (id, _) in EXCEPTIONS {
        assert!(changing.contains(id), "{id} is excepted but is no operation any more: remove its line");
    }
}

#[tokio::test]
async fn signing_in_and_out_leaves_no_entry() {
    let company = Company::in_maryland().await;
    let mut watch = Watch::over(&company.owner).await;
    let session = json!({ "name": "office", "password": harness::PASSWORD });
    let session = watch.none(company.app.nobody().post("/api/v1/sessions", &session).await, 201).await.body;
    let user = company.app.user(session["token"].as_str().unwrap(), None);
    let _ = watch.none(user.delete("/api/v1/sessions/current").await, 204).await;
}

#[tokio::test]
async fn no_question_leaves_an_entry() {
    let company = Company::in_maryland().await;
    let application = company.put_down(&company.front, "20").await;
    let spreader = rotary_spreader(&company.office).await;
    let calibration = company
        .phone
        .post("/api/v1/calibrations", &course(&spreader, &company.feed, "2026-09-14"))
        .await
        .expect(201)
        .id();
    let files = format!("/api/v1/products/{}/files?kind=label", company.feed);
    let file = company.office.post_file(&files, "application/pdf", b"%PDF-1.7\n").await.expect(201).id();
    let measurements = company.owner.get(&format!("/api/v1/sections/{}/measurements", company.front)).await.expect(200);
    let measurement = measurements.body["items"][0]["id"].as_str().unwrap().to_owned();
    let reports = company.owner.get(&format!("/api/v1/sections/{}/soil-reports", company.front)).await.expect(200);
    let report = reports.body["items"][0]["id"].as_str().unwrap().to_owned();
    let mut watch = Watch::over(&company.owner).await;
    let things = [
        ("clients", &company.client),
        ("properties", &company.property),
        ("sections", &company.front),
        ("measurements", &measurement),
        ("soil-reports", &report),
        ("products", &company.feed),
        ("equipment", &spreader),
        ("calibrations", &calibration),
        ("product-files", &file),
        ("lots", &company.lot),
        ("visits", &company.visit),
        ("applications", &application),
    ];
    let (mut asked, mut found) = (0, 0);
    for (method, template, id, roles) in operations() {
        // Of what is for passes alone the security log is told, and the journal as little.
        if method != "GET" || roles == ["pass"] {
            continue;
        }
        let noun = template.split('/').nth(3).unwrap_or_default();
        let thing = things.iter().find(|(plural, _)| *plural == noun).map_or(&application, |(_, id)| id);
        let path = template.replace("{id}", thing).replace("{day}", "2026-09-15").replace("{code}", "us-md");
        let query = match id.as_str() {
            "list_rule_changes" => "?from=2013-01-01&to=2026-09-15".to_owned(),
            "get_label_check" => "?rule_set=us-md&on=2026-09-15".to_owned(),
            "get_rule_set" | "get_property_rules" | "get_section_rules" => "?on=2026-09-15".to_owned(),
            "get_statement" => format!("?year=2026&client_id={}", company.client),
            "get_calibrations_in_force" => {
                format!("?equipment_id={spreader}&product_id={}&on=2026-09-15", company.feed)
            }
            "get_drift" => "?from=2026-01-01&to=2026-12-31".to_owned(),
            "get_product_amounts" => "?target_lb_per_1000_sqft=0.75&area_sqft=8200".to_owned(),
            "get_company_year" => "?year=2026".to_owned(),
            "get_section_plan" => format!("?programme_id={application}"),
            "get_receipt_standing" => format!("?entry=1&head={}", "0".repeat(64)),
            "get_place_suggestion" => "?latitude=38.98&longitude=-76.49".to_owned(),
            _ => String::new(),
        };
        let reply = company.owner.send(Method::GET, &format!("{path}{query}"), &[], None).await;
        assert!(matches!(reply.status, 200 | 404), "{}: {}", reply.asked, reply.text);
        assert_eq!(watch.acts().await, [""; 0], "{}", reply.asked);
        (asked, found) = (asked + 1, found + usize::from(reply.status == 200));
    }
    assert!(asked > 25 && found * 10 > asked * 7, "{found} of {asked} questions found something");
}
