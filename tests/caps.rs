//! The yearly caps that statement and year show: those that bind this ground and whoever works there.

use harness::{
    new_id,
    world::{Company, label, product},
};
use serde_json::{Value, json};

use crate::pages::visitor::Visitor;

/// What a place in the list of the company's year stands for.
fn named(year: &Value, place: &Value) -> Value {
    place.as_u64().map_or(Value::Null, |place| year["caps"][usize::try_from(place).unwrap()].clone())
}

/// The caps of the first section in the company's year, told as a statement tells them.
fn told_whole(year: &Value) -> Value {
    let held = year["sections"][0]["caps"].as_array().unwrap().iter().map(|held| {
        let mut whole = held.clone();
        whole["cap"] = named(year, &held["cap"]);
        whole
    });
    held.collect()
}

/// The caps of a statement without their words, which the company's year leaves to its reader.
fn without_words(caps: &Value) -> Value {
    let held = caps.as_array().unwrap().iter().map(|held| {
        let mut bare = held.clone();
        assert!(bare.as_object_mut().unwrap().remove("stricter_words").is_some(), "{held}");
        bare
    });
    held.collect()
}

/// The cap of the statement's first section; the company's year says the same.
async fn shown(company: &Company) -> Value {
    let year = company.owner.get("/api/v1/statements/company?year=2026").await.expect(200).body;
    let statement = company.statement().await;
    let cap = &statement["sections"][0]["cap"];
    assert_eq!(named(&year, &year["sections"][0]["cap"]), *cap);
    cap.clone()
}

async fn enter(company: &Company, facts: Value) {
    let entry = json!({ "since": "2026-09-01", "facts": facts, "reason": "As the office saw it." });
    let _ = company.office.post(&format!("/api/v1/properties/{}/history", company.property), &entry).await.expect(201);
}

#[tokio::test]
async fn the_cap_shown_is_the_one_by_which_work_is_judged() {
    let company = Company::in_maryland().await;
    // COMAR 15.20.10.09 binds a professional to the University's rates; for others they are advice (rows MD-12, MD-07).
    assert_eq!(shown(&company).await["rule"], "us-md.professional.nitrogen.total.year");
    enter(&company, json!({ "worked_by": "household" })).await;
    let cap = shown(&company).await;
    assert_eq!((&cap["rule"], &cap["advice"]), (&json!("us-md.household.nitrogen.total.year"), &json!(true)));
    let plan = company.plan(&company.front, "10");
    let answer = company.phone.post("/api/v1/checks", &plan).await.expect(200).body;
    let judged = answer["decision"].to_string();
    assert!(judged.contains("us-md.household.nitrogen.total.year"), "{judged}");
    assert!(!judged.contains("us-md.professional.nitrogen.total.year"), "{judged}");
}

#[tokio::test]
async fn a_cap_of_golf_courses_is_shown_on_none_but_them() {
    let company = Company::under(&["us-ny", "us-ny-suffolk"]).await;
    // Suffolk County: golf courses at most 3 lb of nitrogen on 1,000 sq ft (row NY-24).
    assert_eq!(shown(&company).await, Value::Null);
    enter(&company, json!({ "kind": "golf_course" })).await;
    let cap = shown(&company).await;
    assert_eq!((&cap["rule"], &cap["limit_lb_per_1000_sqft"]), (&json!("us-ny-suffolk.golf"), &json!("3")));
}

#[tokio::test]
async fn ground_that_a_law_leaves_out_is_shown_none_of_its_caps() {
    let company = Company::under(&["us-nj"]).await;
    // New Jersey's 4.25 lb (row NJ-11) leave golf courses out (row NJ-21).
    assert_eq!(shown(&company).await["rule"], "us-nj.professional.nitrogen.total.year");
    enter(&company, json!({ "kind": "golf_course" })).await;
    assert_eq!(shown(&company).await, Value::Null);
}

/// A record of the front lawn on a day, whatever rules stop it: it was done.
async fn anyhow(company: &Company, day: &str, product: &str, product_lb: &str) {
    let mut record = company.record(&company.front, product_lb);
    (record["product_id"], record["lot_id"]) = (json!(product), Value::Null);
    record["started_at"] = json!(format!("{day}T09:05:00-04:00"));
    record["finished_at"] = json!(format!("{day}T09:31:00-04:00"));
    let _ = company.put_anyhow(record).await;
}

/// A record of the front lawn on a day.
async fn put_down(company: &Company, day: &str, product: &str, product_lb: &str) {
    let mut record = company.record(&company.front, product_lb);
    record["product_id"] = json!(product);
    record["started_at"] = json!(format!("{day}T09:05:00-04:00"));
    record["finished_at"] = json!(format!("{day}T09:31:00-04:00"));
    // It came from another lot, and no visit was planned for it.
    record.as_object_mut().unwrap().retain(|name, _| name != "lot_id" && name != "visit_id");
    let address = format!("/api/v1/applications/{}", new_id());
    let refused = company.phone.put(&address, &record).await;
    if refused.status == 201 {
        return;
    }
    // What is asked here is what stands on paper, not whether the work was lawful.
    let refused = refused.problem(422, "stopped-by-rules");
    let keys: Vec<Value> = refused.body["findings"].as_array().unwrap().iter().map(|f| f["key"].clone()).collect();
    (record["acknowledged"], record["reason"]) = (json!(keys), json!("Entered from the old papers."));
    let _ = company.phone.put(&address, &record).await.expect(201);
}

#[tokio::test]
async fn every_yearly_cap_is_shown_in_both_years() {
    let company = Company::in_maryland().await;
    // 8,200 sq ft at 0.9 lb are 7.38 lb N, 30.75 lb of 24 %. Last autumn's two rounds lie within 365 days of September 15.
    for day in ["2025-10-20", "2025-11-05", "2026-04-10"] {
        put_down(&company, day, &company.feed, "30.75").await;
    }
    let statement = company.statement().await;
    let front = &statement["sections"][0];
    // The University's 2.7 lb for tall fescue (row MD-07): 0.9 of this year, three times 0.9 in the 365 days.
    let rooms = front["caps"].as_array().unwrap();
    let nitrogen = rooms.iter().find(|rooms| rooms["cap"] == front["cap"]).unwrap();
    assert_eq!(nitrogen["calendar_year"]["remaining_lb_per_1000_sqft"], "1.8");
    let rolling = json!({
        "from": "2025-09-16", "to": "2026-09-15", "applied_lb_per_1000_sqft": "2.7", "remaining_lb_per_1000_sqft": "0",
    });
    assert_eq!(nitrogen["rolling_year"], rolling);
    assert_eq!(nitrogen["stricter"], "rolling_year");
    assert_eq!(nitrogen["stricter_words"], "Less is left in the 365 days to 2026-09-15.");
    // What stood there before goes on as the calendar year's.
    assert_eq!(front["remaining_nitrogen_lb_per_1000_sqft"], "1.8");
    assert_eq!(front["percent_of_cap"], "33.34");
    // A check says the same.
    let answer = company.phone.post("/api/v1/checks", &company.plan(&company.front, "10")).await.expect(200).body;
    assert!(answer["decision"].to_string().contains("Nothing is left"), "{}", answer["decision"]);
    let year = company.owner.get("/api/v1/statements/company?year=2026").await.expect(200).body;
    assert_eq!(told_whole(&year), without_words(&front["caps"]));
    // Two sections of one lawn are held to the same caps, each of which stands once.
    let each: std::collections::BTreeSet<String> =
        year["caps"].as_array().unwrap().iter().map(Value::to_string).collect();
    assert_eq!(each.len(), year["caps"].as_array().unwrap().len());
    assert_eq!(year["sections"][1]["cap"], year["sections"][0]["cap"]);
    // The visit of today is planned with 0.75 lb, which the calendar year would hold.
    assert_eq!(year["sections"][0]["runs_past_on"], "2026-09-15");
    let csv = format!("/api/v1/statements?year=2026&format=csv&client_id={}", company.client);
    let csv = company.owner.get(&csv).await.expect(200).text;
    assert!(csv.contains(",N,2.7,1.8,0,2025-09-16,2026-09-15,365 days\r\n"), "{csv}");
    // The browser's pages: the year, and the client's paper.
    let owner = Visitor::named(&company, "owner").await;
    let page = owner.open(&format!("/year/{}?year=2026", company.client)).await.html;
    assert!(page.contains("Less is left in the 365 days to 2026-09-15."), "{page}");
    let page = owner.open("/year?year=2026").await.html;
    assert!(page.contains("; less in 365 days"), "{page}");
    // Last year's paper has its own fullest 365 days.
    let last = format!("/api/v1/statements?year=2025&client_id={}", company.client);
    let last = company.owner.get(&last).await.expect(200).body;
    assert_eq!(last["sections"][0]["caps"][0]["rolling_year"]["applied_lb_per_1000_sqft"], "1.8");
    assert_eq!(last["sections"][0]["caps"][0]["stricter"], Value::Null);
}

#[tokio::test]
async fn a_yearly_cap_on_phosphate_is_shown_like_one_on_nitrogen() {
    let company = Company::under(&["us-fl-sarasota"]).await;
    let starter = product(&company.office, "Starter 10-10-10", &label("10", "5", "10", "10")).await;
    // 8,200 sq ft at 0.25 lb P2O5 are 2.05 lb, 20.5 lb of 10 %.
    put_down(&company, "2025-11-05", &starter, "20.5").await;
    put_down(&company, "2026-04-10", &starter, "20.5").await;
    let statement = company.statement().await;
    let rooms = statement["sections"][0]["caps"].as_array().unwrap().clone();
    // Sarasota County: 0.5 lb a year (row FL-24).
    let phosphate = rooms.iter().find(|rooms| rooms["cap"]["rule"] == "us-fl-sarasota.phosphorus.year").unwrap();
    assert_eq!(phosphate["cap"]["nutrient"], "phosphate");
    assert_eq!(phosphate["calendar_year"]["remaining_lb_per_1000_sqft"], "0.25");
    assert_eq!(phosphate["rolling_year"]["remaining_lb_per_1000_sqft"], "0");
    let owner = Visitor::named(&company, "owner").await;
    let page = owner.open(&format!("/year/{}?year=2026", company.client)).await.html;
    assert!(page.contains("<th scope=\"row\" class=\"named\">P2O5<br>"), "{page}");
}

/// The rules of the reports that are due for 2025.
async fn reports(company: &Company) -> Vec<String> {
    let year = company.owner.get("/api/v1/statements/company?year=2025").await.expect(200).body;
    let due = year["reports_due"].as_array().unwrap();
    due.iter().map(|report| report["source"]["rule"].as_str().unwrap().to_owned()).collect()
}

async fn measured(company: &Company, on: &str, area: &str) {
    let body = json!({ "area_sqft": area, "measured_on": on, "method": "plan", "measured_by": "Office 01" });
    let address = format!("/api/v1/sections/{}/measurements", company.front);
    let _ = company.office.post(&address, &body).await.expect(201);
}

#[tokio::test]
async fn reports_of_a_past_year_go_by_the_ground_of_that_year_and_those_who_work_for_hire() {
    let company = Company::under(&["us-va"]).await;
    put_down(&company, "2025-09-10", &company.feed, "10").await;
    // Virginia wants a report of more than 50 acres (row VA-11): 2,178,000 sq ft.
    assert_eq!(reports(&company).await, Vec::<String>::new());
    measured(&company, "2026-09-14", "4900000").await;
    assert_eq!(reports(&company).await, Vec::<String>::new(), "measured after the year had ended");
    measured(&company, "2025-08-01", "4900000").await;
    assert_eq!(reports(&company).await, Vec::<String>::new(), "the work was on the ground that its record says");
    put_down(&company, "2025-09-20", &company.feed, "10").await;
    assert_eq!(reports(&company).await, ["us-va.report"]);
    // The report is of those who work for hire, on the days of the work.
    let history = format!("/api/v1/properties/{}/history", company.property);
    let entry =
        |since: &str| json!({ "since": since, "facts": { "worked_by": "own_ground" }, "reason": "Their own people." });
    let _ = company.office.post(&history, &entry("2025-12-01")).await.expect(201);
    assert_eq!(reports(&company).await, ["us-va.report"], "the work of September was for hire");
    let _ = company.office.post(&history, &entry("2025-02-01")).await.expect(201);
    assert_eq!(reports(&company).await, Vec::<String>::new());
}

#[tokio::test]
async fn ground_that_a_correction_takes_back_is_not_reported() {
    let company = Company::under(&["us-va"]).await;
    measured(&company, "2026-08-01", "4900000").await;
    let due = async || {
        let year = company.owner.get("/api/v1/statements/company?year=2026").await.expect(200).body;
        year["reports_due"].as_array().unwrap().len()
    };
    let id = company.put_down(&company.front, "10").await;
    assert_eq!(due().await, 1);
    let correct = async |line: Value| {
        let body = json!({ "application_id": id, "reason": "Only the strip.", "change": { "lines": [line] } });
        company.office.put(&format!("/api/v1/corrections/{}", new_id()), &body).await.expect(201)
    };
    let strip = json!({ "section_id": company.front, "product_lb": "10", "treated_area_sqft": "8200" });
    let _ = correct(strip).await;
    assert_eq!(due().await, 0);
    // Twice on parts of a section that nobody named: together they may be 60 acres.
    for _ in 0..2 {
        let mut record = company.record(&company.front, "10");
        record["lines"][0]["treated_area_sqft"] = json!("1306800");
        let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
    }
    assert_eq!(due().await, 1);
}

#[tokio::test]
async fn the_years_first_line_counts_every_cap() {
    let company = Company::under(&["us-fl-sarasota"]).await;
    let starter = product(&company.office, "Starter 1-1-1", &label("1", "1", "1", "1")).await;
    let owner = Visitor::named(&company, "owner").await;
    let page = owner.open("/year?year=2026").await.html;
    for words in ["✓ none over a cap that counts for every product", "✓ none over the cap on nitrogen"] {
        assert!(page.contains(words), "{page}");
    }
    // Sarasota County: 0.5 lb P2O5 a year (row FL-24). 8,200 sq ft at 0.6 lb are 4.92 lb, 492 lb of 1 %.
    put_down(&company, "2026-04-10", &starter, "492").await;
    let page = owner.open("/year?year=2026").await.html;
    assert!(!page.contains("none over a cap") && page.contains("■ 1 over a cap that counts"), "{page}");
    // 492 lb of 1 % are 0.6 lb N, of 4 lb a year: three more visits of 1.2 lb are over it.
    let visit = |day: &str| {
        json!({
            "property_id": company.property, "person_id": company.phone.id, "planned_on": day, "product_id": company.feed,
            "section_ids": [company.rear], "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "1.5",
        })
    };
    for day in ["2026-10-05", "2026-10-26", "2026-11-16"] {
        let _ = company.office.post("/api/v1/visits", &visit(day)).await.expect(201);
    }
    let page = owner.open("/year?year=2026").await.html;
    assert!(page.contains("▲ 1 over the cap on nitrogen with what is planned"), "{page}");
    assert!(page.contains("0.60 lb P2O5 is down, and the cap is 0.50."), "{page}");
}

/// D.C. Code 8-104.03(e)(2), row DC-16: of an enhanced-efficiency product less than 2.5 lb a year. Of every product that went down.
#[tokio::test]
async fn a_cap_at_which_only_less_is_allowed_is_used_up_at_its_limit() {
    let company = Company::under(&["us-dc"]).await;
    let owner = Visitor::named(&company, "owner").await;
    let of_enhanced = async || {
        let page = owner.open("/year?year=2026").await.html;
        let found = page.split("<li>").find(|item| item.contains("of less than 2.50")).map(str::to_owned);
        let item = found.unwrap_or_else(|| panic!("{page}"));
        (item.contains("✓ within"), item.contains("▲ nothing is left"), page)
    };
    // 8,200 sq ft at 2.5 lb are 20.5 lb N, of 20 % 102.5 lb; the day of the visit of the book is later.
    let half = product(&company.office, "Half 20", &label("20", "10", "0", "0")).await;
    let spread = async |lb: &str, day: &str| anyhow(&company, day, &half, lb).await;
    spread("51.25", "2026-04-10").await;
    spread("51.2", "2026-06-10").await;
    let (within, used_up, page) = of_enhanced().await;
    assert!(within && !used_up, "{page}");
    spread("0.05", "2026-08-10").await;
    let (within, used_up, page) = of_enhanced().await;
    assert!(!within && used_up, "{page}");
    assert!(page.contains("▲ 1 with nothing left of a cap for some products"), "{page}");
    let statement = owner.open(&format!("/year/{}?year=2026", company.client)).await.html;
    assert!(statement.contains("less than 2.50") && !statement.contains(">At most<"), "{statement}");
}

#[tokio::test]
async fn a_cap_on_some_products_is_named_by_nutrient_and_place() {
    let company = Company::under(&["us-fl-marion"]).await;
    let year = Visitor::named(&company, "owner").await.open("/year?year=2026").await.html;
    assert!(year.contains("a yearly cap on P2O5, Marion County, Florida. Each check"), "{year}");
    let statement = company.statement().await;
    let gaps: Vec<&str> = statement["gaps"].as_array().unwrap().iter().map(|gap| gap.as_str().unwrap()).collect();
    // Marion County: phosphate to establish turf (row FL-23).
    let named = "a yearly cap on P2O5 of Marion County, Florida counts some products only";
    assert!(gaps.iter().any(|gap| gap.contains(named)), "{gaps:#?}");
    assert!(gaps.iter().all(|gap| !gap.contains("us-fl-marion.")), "{gaps:#?}");
}
