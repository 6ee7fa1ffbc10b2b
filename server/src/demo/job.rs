//! The main job, step by step, as its people do it.

use domain::time::Instant;
use jiff::SignedDuration;
use serde_json::{Value, json};

use super::{
    company::{self, Place, Rate, Shelf, Staff, fair_weather, phone_id},
    http::{Caller, expect},
    large, season, table, weather,
};
use crate::{clock::MovedClock, console::print_line};

fn step(number: u8, what: &str) {
    print_line(format_args!("\n{number}. {what}"));
}

pub(super) fn say(what: &str) {
    print_line(format_args!("   {what}"));
}

pub(super) fn text<'v>(value: &'v Value, pointer: &str) -> &'v str {
    value.pointer(pointer).and_then(Value::as_str).unwrap_or("-")
}

/// Does it all; answers how to sign in afterwards.
pub async fn whole(
    base: &str,
    setup_code: &str,
    clock: &MovedClock,
    moment: Instant,
    small: bool,
) -> Result<String, String> {
    step(1, "Office: people, products, clients and two seasons of an invented company");
    let Made { staff, shelf, places, records, visits } = if small {
        twelve(base, setup_code, clock).await?
    } else {
        large::made(base, setup_code, clock, moment).await?
    };
    let sections: usize = places.iter().map(|place| place.sections.len()).sum();
    say(&format!(
        "{} clients, {sections} lawn sections, {records} applications recorded on their own days.",
        places.len()
    ));
    if !small {
        say(&format!(
            "{visits} visits of a year, some of them with the faults of a real one: what is open stands on the office's page."
        ));
        say("Names, streets and firms are syllables put together by a seed: invented, and any likeness is chance.");
    }
    clock.put(moment);
    let staff = on_the_day(base, &staff, true).await?;
    let place = places.first().ok_or("no place")?;
    main_job(&staff, &shelf, place, clock, moment).await?;
    rules(&staff, &shelf, &places, moment).await?;
    closing(&staff, &shelf, place).await?;
    step(9, "Office: when may it go down? A sample of weather, made up for this demonstration; no network is used");
    weather::show_weather(&staff, &shelf, place).await?.iter().for_each(|line| say(line));
    step(10, "Office: what goes down for the rest of the season, and what must be bought for it?");
    season::planned(&staff, &shelf, place).await?;
    Ok(farewell(base, &staff))
}

/// What the company is made of, and how many records and visits are in it.
#[derive(Debug)]
pub(super) struct Made {
    pub staff: Staff,
    pub shelf: Shelf,
    pub places: Vec<Place>,
    pub records: usize,
    pub visits: usize,
}

/// The small company.
async fn twelve(base: &str, setup_code: &str, clock: &MovedClock) -> Result<Made, String> {
    clock.put(Instant::parse("2025-03-03T13:00:00Z").map_err(|error| error.to_string())?);
    let staff = company::staff(base, setup_code).await?;
    let shelf = company::shelf(&staff.office).await?;
    let (places, records) = seasons(base, &staff, &shelf, clock).await?;
    Ok(Made { staff, shelf, places, records, visits: records })
}

/// Twelve clients in two states; last year's four rounds and this spring's two.
async fn seasons(base: &str, staff: &Staff, shelf: &Shelf, clock: &MovedClock) -> Result<(Vec<Place>, usize), String> {
    let mut places = Vec::new();
    for number in 1..=12_usize {
        let rule_set = if number > 8 { "us-pa" } else { "us-md" };
        let base = 4_000 + 700 * u32::try_from(number).unwrap_or(0);
        let areas: &[u32] = if number % 2 == 1 { &[base, base / 2 + 900, 1_500] } else { &[base, base / 2 + 900] };
        places.push(company::place(&staff.office, number, rule_set, areas).await?);
    }
    let mut records = 0;
    let rounds = [
        ("2025-04-08", &shelf.spring, Rate(133), false),
        ("2025-05-27", &shelf.spring, Rate(133), false),
        ("2025-09-09", &shelf.feed, Rate(250), true),
        ("2025-10-21", &shelf.feed, Rate(250), false),
        ("2026-04-14", &shelf.spring, Rate(183), true),
        ("2026-05-26", &shelf.spring, Rate(183), false),
    ];
    let mut staff = on_the_day(base, staff, false).await?;
    for (day, product, rate, new_phone) in rounds {
        clock.put(Instant::parse(&format!("{day}T11:00:00Z")).map_err(|error| error.to_string())?);
        staff = on_the_day(base, &staff, new_phone).await?;
        for place in &places {
            company::past_visit(&staff, place, product, rate, day, clock).await?;
            records += 1;
        }
    }
    Ok((places, records))
}

/// Somebody of the staff with a new session.
pub(super) async fn signed_in(nobody: &Caller, staff: &Staff, name: &str) -> Result<Caller, String> {
    let session = nobody.post("/api/v1/sessions", &json!({ "name": name, "password": staff.password })).await?;
    Ok(nobody.with(&expect(session, 201, "signing in")?["token"]))
}

/// Sessions end after half a day and phones after half a year; the demonstration leaps over both.
async fn on_the_day(base: &str, staff: &Staff, new_phone: bool) -> Result<Staff, String> {
    let nobody = Caller::nobody(base)?;
    let (owner, office) = (signed_in(&nobody, staff, "owner").await?, signed_in(&nobody, staff, "office").await?);
    let phone =
        if new_phone { company::enrol(&nobody, &office, &staff.technician, 1).await? } else { staff.phone.clone() };
    Ok(Staff { owner, office, phone, technician: staff.technician.clone(), password: staff.password.clone() })
}

/// Plans the visit and shows it in the technician's day.
async fn planned(staff: &Staff, shelf: &Shelf, place: &Place, front: &str) -> Result<String, String> {
    step(2, "Office: today's visit is planned");
    let visit = json!({
        "property_id": place.property, "person_id": staff.technician, "planned_on": "2026-09-15", "product_id": shelf.feed,
        "section_ids": [front], "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "0.75",
    });
    let visit = staff.office.made("/api/v1/visits", &visit).await?;
    let next = json!({
        "property_id": place.property, "person_id": staff.technician, "planned_on": "2026-10-27", "product_id": shelf.feed,
        "section_ids": [front], "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "0.9",
    });
    staff.office.made("/api/v1/visits", &next).await?;
    // Weighed back after a walk of 125 ft at a swath of 8 ft: 3.1 lb on 1,000 sq ft.
    let calibration = json!({
        "equipment_id": shelf.spreader, "product_id": shelf.feed, "calibrated_on": "2026-09-14", "setting": "14",
        "test": {
            "method": "course", "put_in_lb": "10", "left_over_lb": "6.9", "swath_ft": "8", "swath_by": "half_of_centre",
            "distance_ft": "125", "target_lb_per_1000_sqft": "3.125",
        },
    });
    staff.phone.made("/api/v1/calibrations", &calibration).await?;
    let day = expect(staff.phone.get("/api/v1/days/2026-09-15").await?, 200, "the day")?;
    // Other stops may stand before it.
    let stops = day["visits"].as_array().into_iter().flatten();
    let stop =
        stops.into_iter().find(|stop| stop["visit"]["id"] == json!(visit)).ok_or("the visit is not in the day")?;
    say(&format!(
        "The phone holds its day: {} at {}, {} on the {} ({} sq ft).",
        text(stop, "/client_name"),
        text(stop, "/property/address"),
        text(stop, "/product/name"),
        text(stop, "/sections/0/name"),
        text(stop, "/sections/0/area_sqft"),
    ));
    say(&format!(
        "{} lb of product per 1,000 sq ft, or {} in each of two passes; calibrated on {}: {} lb, {}.",
        text(stop, "/rate/product_lb_per_1000_sqft"),
        text(stop, "/rate/half_rate_lb_per_1000_sqft"),
        text(stop, "/calibrations/0/calibration/calibrated_on"),
        text(stop, "/calibrations/0/calibration/result/product_lb_per_1000_sqft"),
        text(stop, "/calibrations/0/standing"),
    ));
    Ok(visit)
}

/// Day, check, clearance, record, retry.
async fn main_job(
    staff: &Staff,
    shelf: &Shelf,
    place: &Place,
    clock: &MovedClock,
    moment: Instant,
) -> Result<(), String> {
    let front = &place.sections.first().ok_or("no section")?.0;
    let visit = planned(staff, shelf, place, front).await?;

    step(3, "Phone: how much, and may I?");
    let plan = |amount: Value| {
        let mut line = amount;
        line["section_id"] = json!(front);
        json!({
            "property_id": place.property, "product_id": shelf.feed, "planned_on": "2026-09-15", "purpose": "maintenance",
            "equipment": "rotary_spreader_with_deflector", "ground": "moist", "weather": fair_weather(moment), "lines": [line],
        })
    };
    let check =
        staff.phone.post("/api/v1/checks", &plan(json!({ "target_nitrogen_lb_per_1000_sqft": "0.75" }))).await?;
    let check = expect(check, 200, "the check")?;
    let product = text(&check, "/decision/sections/0/product_lb").to_owned();
    say(&format!(
        "{} {} lb of product deliver {} lb N.",
        text(&check, "/decision/summary"),
        product,
        text(&check, "/decision/sections/0/delivers/nitrogen_lb")
    ));
    say(text(&check, "/decision/sections/0/bound_by_words"));
    say(text(&check, "/next_visit/words"));

    step(4, "Phone: a clearance holds the room");
    let clearance = phone_id(moment);
    let cleared =
        staff.phone.put(&format!("/api/v1/clearances/{clearance}"), &plan(json!({ "product_lb": product }))).await?;
    let cleared = expect(cleared, 201, "the clearance")?;
    say(&format!("Held until {}.", text(&cleared, "/expires_at")));

    step(5, "Phone: the work is done and recorded; the reply is lost, and it is sent again");
    let id = phone_id(moment);
    clock.put(moment.plus(SignedDuration::from_mins(30)));
    let mut record = json!({
        "property_id": place.property, "product_id": shelf.feed, "visit_id": visit, "clearance_id": clearance,
        "started_at": moment, "finished_at": moment.plus(SignedDuration::from_mins(26)), "purpose": "maintenance",
        "equipment": "rotary_spreader_with_deflector", "equipment_id": shelf.spreader, "ground": "moist", "pavement_cleaned": true,
        "weather": fair_weather(moment), "lines": [{ "section_id": front, "product_lb": product }],
    });
    let address = format!("/api/v1/applications/{id}");
    expect(staff.phone.put(&address, &record).await?, 201, "the record")?;
    say("201: stored.");
    expect(staff.phone.put(&address, &record).await?, 200, "the repeated record")?;
    say("The same again: 200, and still one record.");
    record["lines"][0]["product_lb"] = json!("20");
    let reused = expect(staff.phone.put(&address, &record).await?, 409, "the changed record")?;
    say(&format!("Other content under the same id: 409, {}", text(&reused, "/detail")));

    step(6, "Phone: the bag is weighed again, and a correction says what is true");
    let correction = json!({
        "application_id": id, "reason": "Weighed again: a pound was left in the hopper.",
        "change": { "lines": [{ "section_id": front, "product_lb": less_a_pound(&product) }] },
    });
    let preview = staff.phone.post("/api/v1/corrections/checks", &correction).await?;
    let preview = expect(preview, 200, "what the correction changes")?;
    let year = |member: &str| text(&preview, &format!("/sections/0/year_nitrogen_{member}_lb_per_1000_sqft"));
    say(&format!(
        "Shown before it is sent: the year goes from {} to {} lb N per 1,000 sq ft, and {} lb of product come back.",
        year("before"),
        year("after"),
        text(&preview, "/stock/moves_lb")
    ));
    expect(
        staff.phone.put(&format!("/api/v1/corrections/{}", phone_id(moment)), &correction).await?,
        201,
        "the correction",
    )?;
    say("201: the original stays, totals and stock follow.");
    Ok(())
}

fn less_a_pound(product: &str) -> String {
    let (whole, rest) = product.split_once('.').unwrap_or((product, "0"));
    format!("{}.{rest}", whole.parse::<u32>().unwrap_or(1).saturating_sub(1))
}

/// What the rules stop, and what becomes of work that was done all the same.
async fn rules(staff: &Staff, shelf: &Shelf, places: &[Place], moment: Instant) -> Result<(), String> {
    step(7, "Phone: what a rule stops, it explains");
    let place = places.get(1).ok_or("no second place")?;
    let (section, _) = place.sections.first().ok_or("no section")?;
    let id = phone_id(moment);
    let mut record = json!({
        "property_id": place.property, "product_id": shelf.starter, "started_at": moment,
        "finished_at": moment.plus(SignedDuration::from_mins(20)), "purpose": "maintenance", "equipment": "rotary_spreader",
        "ground": "saturated", "pavement_cleaned": true, "weather": fair_weather(moment),
        "lines": [{ "section_id": section, "product_lb": "40" }],
    });
    record["weather"]["air_temperature"]["air_temperature_f"] = json!("91");
    let address = format!("/api/v1/applications/{id}");
    let refused = expect(staff.phone.put(&address, &record).await?, 422, "the refused record")?;
    let findings = refused["findings"].as_array().cloned().unwrap_or_default();
    for finding in &findings {
        say(text(finding, "/message"));
        say(&format!("    {} [{}]", text(finding, "/hint"), text(finding, "/citation")));
    }
    say("422: no record was stored, and the attempt is kept.");
    let stops = findings.iter().filter(|finding| finding["verdict"] == "stop").map(|finding| finding["key"].clone());
    record["acknowledged"] = json!(stops.collect::<Vec<_>>());
    record["reason"] = json!("The wrong bag was loaded; seen only when the hopper was empty.");
    expect(staff.phone.put(&address, &record).await?, 201, "the acknowledged record")?;
    let list = expect(staff.owner.get("/api/v1/reviews").await?, 200, "the owner's list")?;
    let open = list["items"].as_array().map_or(0, Vec::len);
    say(&format!(
        "It had happened all the same: sent again with every finding acknowledged and a reason, it is stored, beyond the rules. Entries on the owner's list: {open}."
    ));
    Ok(())
}

async fn closing(staff: &Staff, shelf: &Shelf, place: &Place) -> Result<(), String> {
    step(8, "Owner: the client's year");
    let statement = staff.owner.get(&format!("/api/v1/statements?year=2026&client_id={}", place.client)).await?;
    print_line(table::statement(&expect(statement, 200, "the statement")?));
    let product = expect(staff.owner.get(&format!("/api/v1/products/{}", shelf.feed)).await?, 200, "the product")?;
    say(&format!("In stock: {} lb of {}.", text(&product, "/balance_lb"), text(&product, "/name")));
    Ok(())
}

fn farewell(base: &str, staff: &Staff) -> String {
    format!(
        "\nThe server runs until Ctrl-C.\n  Look at {base}/ and try the API at {base}/api-page/\n  Pages: {base}/office for the office, {base}/phone for technicians, {base}/year for the owner, {base}/help for everybody\n  Sign in at {base}/sign-in, or at POST {base}/api/v1/sessions, as \"owner\" or \"office\" with the password {}\n  Technician's phone, as Authorization: Bearer {}\n  These were made for this demonstration and end with it. To check the book afterwards, keep it with --file and run `verify`.",
        staff.password,
        staff.phone.token(),
    )
}
