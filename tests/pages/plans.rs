//! Programmes entered by a form of rows, and plans read out: of a section, of the company, and as visits.

use harness::world::{Company, course, rotary_spreader};
use serde_json::json;

use super::visitor::{Visitor, changed, made, written};
use crate::programmes::{call_off, describe, programme, written as entered};

/// A company whose autumn is free, and its programme.
async fn ready(company: &Company) -> String {
    call_off(company).await;
    for section in [&company.front, &company.rear] {
        describe(company, section, "medium", "taken", "light").await;
    }
    entered(&company.office, &programme(company)).await
}

#[tokio::test]
async fn a_programme_is_entered_in_rows() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let wrong = [
        ("/name", ""),
        ("/season_year", "soon"),
        ("/rounds/1/name", "early autumn"),
        ("/rounds/1/from", "2026-09-16"),
        ("/rounds/3/name", "late autumn"),
        ("/rounds/3/from", "2026-10-01"),
        ("/rounds/3/to", "in November"),
        ("/products/0/product_id", company.feed.as_str()),
        ("/needs/0/species", "tall_fescue"),
    ];
    let form = office.open("/office/programmes/new").await;
    let before = written(&company).await;
    let refused = office.send(&form, &wrong).await;
    assert_eq!(refused.status, 422);
    // Empty rows went to the end, so that each fault stands beside its own row.
    let faults = ["/name", "/season_year", "/equipment", "/rounds/0/to", "/rounds/1/to", "/products/0/bag_price_usd"];
    for name in faults {
        assert!(refused.beside(name, "fault").starts_with('■'), "no fault beside {name}: {}", refused.html);
    }
    assert_eq!(
        (refused.value("/rounds/1/name").as_str(), refused.value("/rounds/2/name").as_str()),
        ("late autumn", "")
    );
    assert_eq!(written(&company).await, before);
    let good = [
        ("/name", "Cool-season lawns"),
        ("/season_year", "2026"),
        ("/equipment", "rotary_spreader_with_deflector"),
        ("/least_product_lb_per_1000_sqft", "0.5"),
        ("/rounds/0/to", "2026-09-30"),
        ("/rounds/1/to", "2026-11-15"),
        ("/products/0/bag_price_usd", "31"),
        ("/products/0/may_buy", "true"),
    ];
    // Need and figure contradict themselves only when the shapes are right.
    let bare = office.send(&refused, &good).await;
    assert!(bare.beside("/needs/0/published", "fault").contains("give a published program"), "{}", bare.html);
    let done = office.send(&bare, &[("/needs/0/published", "Maryland, tall fescue and Kentucky bluegrass")]).await;
    assert_eq!(done.status, 303, "{}", done.html);
    let to = done.to.unwrap();
    let stored = company.office.get(&to.replace("/office", "/api/v1")).await.expect(200).body;
    assert_eq!(stored["rounds"].as_array().unwrap().len(), 2);
    assert_eq!(
        (&stored["rounds"][1]["name"], &stored["products"][0]["may_buy"]),
        (&json!("late autumn"), &json!(true))
    );
    changed(&office, &to, "/rounds/0/to", "2026-09-28", "2026-09-29").await;
    // A row that is emptied goes, and the others stay.
    let page = office.open(&to).await;
    let emptied = ["/rounds/0/name", "/rounds/0/from", "/rounds/0/to"].map(|name| (name, ""));
    assert_eq!(office.send(&page, &emptied).await.status, 303);
    let stored = company.office.get(&to.replace("/office", "/api/v1")).await.expect(200).body;
    assert_eq!(stored["rounds"].as_array().unwrap().len(), 1);
    // A section gets a need of its own from its plan.
    let own = office.open(&format!("{to}?section={}", company.front)).await;
    assert_eq!(own.value("/needs/1/section_id"), company.front);
    let figure = [("/needs/1/nitrogen_lb_per_1000_sqft", "1"), ("/needs/1/because", "As agreed with the client")];
    let done = office.send(&own, &figure).await;
    assert_eq!(done.status, 303, "{}", done.html);
    let early = office.open(&to).await;
    assert!(early.html.contains("front lawn, 1 Street A"));
    // What somebody else adds meanwhile is seen, however many rows it takes.
    let mut theirs = company.office.get(&to.replace("/office", "/api/v1")).await.expect(200).body;
    for derived in ["id", "version", "created_at"] {
        let _ = theirs.as_object_mut().unwrap().remove(derived);
    }
    let more = (1..=6).map(|n| json!({ "name": format!("added {n}"), "from": "2026-10-01", "to": "2026-10-09" }));
    theirs["rounds"].as_array_mut().unwrap().extend(more);
    let _ = company.office.put_version(&to.replace("/office", "/api/v1"), "*", &theirs).await.expect(200);
    let told = office.send(&early, &[("/name", "Mine")]).await;
    assert_eq!(told.status, 412, "{}", told.html);
    assert_eq!(told.beside("/rounds/6/name", "other"), "▲ Saved now: added 6", "{}", told.html);
}

#[tokio::test]
async fn a_programme_is_the_office_s_alone() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let rows = [
        ("/name", "Short"),
        ("/season_year", "2026"),
        ("/equipment", "drop_spreader"),
        ("/least_product_lb_per_1000_sqft", "0.5"),
        ("/rounds/0/name", "autumn"),
        ("/rounds/0/from", "2026-09-16"),
        ("/products/0/product_id", company.feed.as_str()),
        ("/products/0/bag_price_usd", "31"),
        ("/products/0/may_buy", "false"),
        ("/needs/0/nitrogen_lb_per_1000_sqft", "1"),
        ("/needs/0/because", "Our own practice"),
    ];
    let faults = ["/rounds/0/to"];
    let to = made(&office, "/office/programmes/new", &rows, &faults, &[("/rounds/0/to", "2026-09-30")]).await;
    assert!(office.open("/office/programmes").await.html.contains(&to));
}

#[tokio::test]
async fn plans_are_read_out() {
    // University of Maryland Extension: 0.9 lb N in September, 0.9 in October or November at medium upkeep; COMAR 15.20.10:
    // nothing from December 1 to the end of February.
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let id = ready(&company).await;
    let before = written(&company).await;
    let section = format!("/office/sections/{}/plan", company.front);
    assert!(office.open(&format!("/office/sections/{}", company.front)).await.html.contains(&section));
    assert!(office.open(&section).await.html.contains("It stores nothing and permits nothing"));
    let plan = office.open(&format!("{section}?programme_id={id}")).await;
    assert_eq!(plan.status, 200, "{}", plan.html);
    for words in [
        "<th scope=\"row\">early autumn</th><td class=\"day\">2026-09-16</td>",
        "● midwinter:",
        "read in the source itself",
        "It permits nothing",
        "The schedule, step by step",
        "2026-05-01 to 2026-06-10<br>(optional)",
        "● not at this care level",
        "✓ planned",
        "Give this section a need of its own",
    ] {
        assert!(plan.html.contains(words), "{words} is missing: {}", plan.html);
    }
    let refused = office.open(&format!("{section}?programme_id=&aim=most&from=soon")).await;
    assert_eq!(refused.status, 422);
    for name in ["programme_id", "aim", "from"] {
        assert!(refused.beside(name, "fault").starts_with('■'), "{name}: {}", refused.html);
    }
    let company_plan = format!("/office/programmes/{id}/plan");
    assert!(office.open(&company_plan).await.html.contains("takes some seconds"));
    let plan = office.open(&format!("{company_plan}?work=yes&aim=&from=&lead_days=20&spare_percent=")).await;
    assert_eq!(plan.status, 200, "{}", plan.html);
    let api = company.office.get(&format!("/api/v1/programmes/{id}/plan?lead_days=20")).await.expect(200).body;
    let buy = &api["purchases"][0];
    for words in [
        "2 lawn sections are planned",
        buy["needed_lb"].as_str().unwrap(),
        "What to buy",
        "Left out: midwinter:",
        &format!("/office/sections/{}/plan?programme_id={id}", company.rear),
    ] {
        assert!(plan.html.contains(words), "{words} is missing: {}", plan.html);
    }
    let refused =
        office.open(&format!("{company_plan}?work=yes&aim=&from=2020-01-01&lead_days=400&spare_percent=x")).await;
    assert_eq!(refused.status, 422);
    for name in ["lead_days", "spare_percent"] {
        assert!(refused.beside(name, "fault").starts_with('■'), "{name}: {}", refused.html);
    }
    assert_eq!(written(&company).await, before, "a plan stores nothing");
    assert_eq!(Visitor::technician(&company).await.open(&company_plan).await.status, 403);
}

/// A day's place in 2026, in hundredths of a per cent, as a picture writes it.
fn place(day: &str) -> String {
    let day: jiff::civil::Date = day.parse().unwrap();
    let share = (i64::from(day.day_of_year()) - 1) * 10_000 / 365;
    format!("{}.{:02}%", share / 100, share % 100)
}

#[tokio::test]
async fn the_calendar_shows_what_the_table_says() {
    // COMAR 15.20.10.09 D, as `us-md.toml` has it: no slow-release nitrogen from November 16, none at all from December 2.
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let id = ready(&company).await;
    let path = format!("sections/{}/plan?programme_id={id}", company.front);
    let plan = company.office.get(&format!("/api/v1/{path}")).await.expect(200).body;
    let closed = plan["closed"].as_array().unwrap();
    let stretches: Vec<(&str, &str)> =
        closed.iter().map(|one| (one["from"].as_str().unwrap(), one["to"].as_str().unwrap())).collect();
    assert_eq!(stretches, [("2026-11-16", "2026-12-01"), ("2026-12-02", "2026-12-31")], "{closed:#?}");
    let html = office.open(&format!("/office/{path}")).await.html;
    let (picture, table) = html.split_once("aria-label=\"The season in words\"").unwrap();
    let table = table.split_once("</table>").unwrap().0;
    // Closed days are a band from their first day on, in the line of each round, and a row of the table with what closes them.
    let band = |from: &str| format!("<rect class=\"shut\" x=\"{}\"", place(from));
    for one in closed {
        let (from, to) = (one["from"].as_str().unwrap(), one["to"].as_str().unwrap());
        assert_eq!(picture.matches(&band(from)).count(), 3, "{picture}");
        assert!(table.contains(&format!("<td class=\"day\">{from} to {to}</td>")), "{table}");
        assert!(table.contains(one["why"].as_str().unwrap()), "{table}");
    }
    for round in plan["rounds"].as_array().unwrap() {
        let (name, on) = (round["round"].as_str().unwrap(), round["on"].as_str().unwrap());
        let row = html.split_once(&format!("<th scope=\"row\">{name}</th>")).unwrap().1.split_once("</tr>").unwrap().0;
        let lb = row.split("<td class=\"n\">").nth(1).unwrap().split_once("</td>").unwrap().0;
        let lb = lb.split_once('>').map_or(lb, |(_, rest)| rest.split_once('<').unwrap().0);
        let words = format!("planned on {on}: {lb} lb {}", round["product_name"].as_str().unwrap());
        assert!(picture.contains(&format!("<title>{words}</title>")), "{words}: {picture}");
        assert!(table.contains(&words), "{words}: {table}");
        // Its sign stands in the middle of its day.
        let day = place(on).trim_end_matches('%').parse::<f64>().unwrap();
        let sign = picture.split_once(&format!("<title>{words}</title>")).unwrap().0;
        let at = sign.rsplit("<svg class=\"sign\" x=\"").next().unwrap().split_once('%').unwrap().0;
        let beyond = at.parse::<f64>().unwrap() - day;
        assert!((0.1..0.3).contains(&beyond), "{on} is at {day} % and its sign at {at} %");
    }
    for round in ["early autumn", "late autumn", "midwinter"] {
        assert!(table.contains(&format!("<th scope=\"row\" class=\"named\">{round}</th>")), "{table}");
    }
    assert!(picture.contains(&format!("class=\"open\" x=\"{}\"", place("2026-09-16"))), "{picture}");
    // A visit that is made of it stands in its place.
    let technician = company.phone.id.as_deref().unwrap();
    let visits = json!({ "round": "early autumn", "planned_on": "2026-09-18", "person_id": technician, "section_ids": [company.front] });
    let _ = company.office.post(&format!("/api/v1/programmes/{id}/visits"), &visits).await.expect(201);
    let html = office.open(&format!("/office/{path}")).await.html;
    assert!(html.contains("<title>a visit stands: 2026-09-18</title>"), "{html}");
    let whole = office.open(&format!("/office/programmes/{id}/plan?work=yes")).await.html;
    for section in [&company.front, &company.rear] {
        assert!(
            whole.contains(&format!("<li class=\"lane\"><span><a href=\"/office/sections/{section}/plan?")),
            "{whole}"
        );
    }
    assert_eq!(whole.matches(&band("2026-12-02")).count(), 2, "{whole}");
    assert!(
        whole.contains("<li>Nothing may go down: 2026-12-02 to 2026-12-31: ")
            && whole.contains("<title>a visit stands: 2026-09-18</title>"),
        "{whole}"
    );
    assert_eq!(office.open(&format!("/office/programmes/{id}/plan?work=yes&part=1")).await.status, 404);
}

#[tokio::test]
async fn what_collides_is_said() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    call_off(&company).await;
    // 5 lb N in one autumn are beyond what COMAR 15.20.10.09 lets through, so something stays unmet.
    let mut asked = programme(&company);
    asked["needs"] = json!([{ "nitrogen_lb_per_1000_sqft": "5", "because": "Asked for by the client" }]);
    let id = entered(&company.office, &asked).await;
    let plan = office.open(&format!("/office/sections/{}/plan?programme_id={id}", company.front)).await.html;
    assert!(
        plan.contains("▲")
            && plan.contains("lb nitrogen per 1,000 sq ft cannot be met.</span> It conflicts with:<ul><li>"),
        "{plan}"
    );
}

#[tokio::test]
async fn a_round_becomes_visits() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let id = ready(&company).await;
    let programme = office.open(&format!("/office/programmes/{id}")).await.html;
    let path = format!("/office/programmes/{id}/visits/new?round=early+autumn");
    assert!(programme.contains(&path), "{programme}");
    let form = office.open(&path).await;
    let before = written(&company).await;
    let refused = office.send(&form, &[("/planned_on", "2026-10-20"), ("/person_id", "")]).await;
    assert_eq!(refused.status, 422);
    assert!(refused.beside("/section_ids", "fault").starts_with('■'), "{}", refused.html);
    let nobody = office.send(&refused, &[("/section_ids", &company.front)]).await;
    assert!(nobody.beside("/person_id", "fault").contains("say who goes"), "{}", nobody.html);
    let technician = company.phone.id.as_deref().unwrap();
    let both = [("/person_id", technician), ("/section_ids", &company.front), ("/section_ids", &company.rear)];
    let outside = office.send(&refused, &both).await;
    assert!(outside.beside("/planned_on", "fault").contains("must lie within the round"), "{}", outside.html);
    assert_eq!(written(&company).await, before);
    let done = office.send(&outside, &[("/planned_on", "2026-09-18")]).await;
    assert_eq!(done.status, 200, "{}", done.html);
    assert!(done.html.contains("✓") && done.html.contains("front lawn, 1 Street A"), "{}", done.html);
    let after = written(&company).await;
    assert!(after > before);
    // Sent twice it is the first answer; asked anew, nothing is left to choose.
    let twice = office.send(&outside, &[("/planned_on", "2026-09-18")]).await;
    assert_eq!((twice.status, written(&company).await), (200, after), "{}", twice.html);
    let again = office.open(&path).await.html;
    assert!(!again.contains(&company.front), "{again}");
    assert_eq!(office.open(&format!("/office/programmes/{id}/visits/new?round=spring")).await.status, 404);
    // Only what was looked for is offered, and ticked.
    let late = format!("/office/programmes/{id}/visits/new?round=late+autumn&find=REAR");
    let found = office.open(&late).await;
    assert_eq!(found.value("/section_ids"), company.rear);
    assert!(!found.html.contains(&company.front), "{}", found.html);
    assert_eq!(Visitor::technician(&company).await.open(&path).await.status, 403);
}

#[tokio::test]
async fn days_are_written_in_the_company_s_order() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let machine = rotary_spreader(&company.office).await;
    let made = company.office.post("/api/v1/calibrations", &course(&machine, &company.feed, "2026-09-14")).await;
    let calibration = made.expect(201).id();
    let technician = company.phone.id.clone().unwrap();
    let sheet = office.open(&format!("/office/load-sheet?person_id={technician}")).await.html;
    assert!(sheet.contains("Load sheet of 2026-09-15"), "{sheet}");
    let id = ready(&company).await;
    let order = json!({ "date_order": "month_day_year" });
    let _ = company.owner.put_version("/api/v1/settings", "*", &order).await.expect(200);
    for (path, words) in [
        (format!("/office/load-sheet?person_id={technician}"), "Load sheet of 09/15/2026"),
        ("/office/equipment".to_owned(), "09/14/2026"),
        (format!("/office/calibrations/{calibration}"), "on 09/14/2026"),
        (format!("/office/programmes/{id}"), "09/16/2026 to 09/30/2026"),
        (format!("/office/programmes/{id}/plan?work=yes"), "<td class=\"day\">09/2026</td>"),
        (format!("/office/programmes/{id}/visits/new?round=early+autumn"), "From 09/16/2026 to 09/30/2026"),
        (format!("/office/sections/{}/plan?programme_id={id}", company.front), "<td class=\"day\">09/16/2026</td>"),
    ] {
        let shown = office.open(&path).await.html;
        assert!(shown.contains(words), "{path}: {words} is missing: {shown}");
    }
}
