//! The season's plan of the invented company: one section's, and what to buy for all.

use serde_json::{Value, json};

use super::{
    company::{Place, Shelf, Staff},
    http::expect,
    job::{say, text},
    table::{self, cell},
};
use crate::console::print_line;

/// Sets up a programme of two autumn rounds and tells what follows from it.
pub async fn planned(staff: &Staff, shelf: &Shelf, place: &Place) -> Result<(), String> {
    let programme = json!({
        "name": "Cool-season lawns", "season_year": 2026, "equipment": "rotary_spreader_with_deflector",
        "least_product_lb_per_1000_sqft": "0.5",
        "rounds": [
            { "name": "early autumn", "from": "2026-09-16", "to": "2026-10-05" },
            { "name": "late autumn", "from": "2026-10-15", "to": "2026-11-10" },
        ],
        "products": [
            { "product_id": shelf.feed, "bag_price_usd": "31", "may_buy": true },
            { "product_id": shelf.spring, "bag_price_usd": "42", "may_buy": false },
        ],
        "needs": [{ "species": "tall_fescue", "published": "Maryland, tall fescue and Kentucky bluegrass" }],
    });
    let programme = staff.office.made("/api/v1/programmes", &programme).await?;
    let (section, _) = place.sections.get(1).ok_or("no second section")?;
    let plan = staff.office.get(&format!("/api/v1/sections/{section}/plan?programme_id={programme}")).await?;
    let plan = expect(plan, 200, "the season's plan")?;
    say(&format!(
        "{}, {}: {} lb N per 1,000 sq ft are still needed by {}.",
        text(&plan, "/section_name"),
        text(&plan, "/address"),
        text(&plan, "/need/nitrogen/still_lb_per_1000_sqft"),
        "the University of Maryland's schedule",
    ));
    let rounds = rows(&plan["rounds"], |round| {
        ["round", "on", "product_name", "product_lb", "nitrogen_lb_per_1000_sqft"]
            .map(|name| cell(&round[name]))
            .to_vec()
    });
    print_line(table::table(&["round", "day", "product", "lb", "N per 1,000"], &rounds));
    for left in plan["skipped"].as_array().into_iter().flatten() {
        say(&format!("Left out: {}. {}", text(left, "/round"), text(left, "/why")));
    }
    for unmet in plan["unmet"].as_array().into_iter().flatten() {
        let against: Vec<&str> =
            unmet["conflicts_with"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
        let missing = text(unmet, "/missing_lb_per_1000_sqft");
        say(&format!("Not met: {missing} lb N per 1,000 sq ft. Against it stand: {}", against.join("; ")));
    }
    say(&format!("Product for it: {} USD. {}", text(&plan, "/price_usd"), text(&plan, "/caution")));

    let company = staff.office.get(&format!("/api/v1/programmes/{programme}/plan?lead_days=10")).await?;
    let company = expect(company, 200, "the company's plan")?;
    let sections = company["sections"].as_array().map_or(0, Vec::len);
    say(&format!("For all {sections} sections, ordered ten days ahead:"));
    let purchases = rows(&company["purchases"], |line| {
        let names = ["product_name", "month", "needed_lb", "from_stock_lb", "bags", "order_by", "price_usd"];
        // Where the stock is enough there is no day to order.
        names
            .map(|name| if name == "order_by" && line["bags"] == 0 { "-".to_owned() } else { cell(&line[name]) })
            .to_vec()
    });
    let head = ["product", "month", "lb needed", "from stock", "bags", "order by", "USD"];
    print_line(table::table(&head, &purchases));
    Ok(())
}

fn rows(list: &Value, row: impl Fn(&Value) -> Vec<String>) -> Vec<Vec<String>> {
    list.as_array().into_iter().flatten().map(row).collect()
}
