//! Machines and their calibrations, entered and corrected by forms.

use harness::world::{Company, product, rotary_spreader};
use serde_json::json;

use super::visitor::{Visitor, changed, made, written};

#[tokio::test]
async fn a_machine_is_entered_and_corrected() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let wrong =
        [("/name", ""), ("/kind", ""), ("/hopper_lb", "full"), ("/calibration_limits/days", "180"), ("/active", "")];
    let faults = ["/name", "/kind", "/hopper_lb", "/calibration_limits/applications", "/active"];
    let good = [
        ("/name", "Spreader 07"),
        ("/kind", "rotary_spreader"),
        ("/has_deflector", "true"),
        ("/hopper_lb", "120"),
        ("/calibration_limits/applications", "200"),
        ("/active", "true"),
    ];
    let to = made(&office, "/office/equipment/new", &wrong, &faults, &good).await;
    let stored = company.office.get(&to.replace("/office", "/api/v1")).await.expect(200).body;
    assert_eq!((&stored["hopper_lb"], &stored["has_deflector"]), (&json!("120"), &json!(true)));
    assert_eq!(stored["calibration_limits"], json!({ "days": 180, "applications": 200 }));
    // What the schema cannot know comes back beside its field too.
    let page = office.open(&to).await;
    let odd = office.send(&page, &[("/kind", "spray_gun"), ("/tank_gal", "0")]).await;
    assert_eq!(odd.status, 422);
    assert!(odd.beside("/kind", "fault").contains("stays one"), "{}", odd.html);
    assert!(odd.beside("/hopper_lb", "fault").contains("tank_gal"), "{}", odd.html);
    assert!(odd.beside("/tank_gal", "fault").contains("above zero"), "{}", odd.html);
    changed(&office, &to, "/name", "Spreader 08", "Spreader 09").await;
    let list = office.open("/office/equipment").await.html;
    assert!(list.contains("Spreader 09") && list.contains("rotary spreader with deflector, holds 120 lb"), "{list}");
    assert!(list.contains("■ No rate was measured with it yet"), "{list}");
    assert_eq!(office.send(&office.open(&to).await, &[("/active", "false")]).await.status, 303);
    assert!(office.open("/office/equipment").await.html.contains("■ out of use"));
}

#[tokio::test]
async fn a_calibration_is_worked_out_and_read() {
    // UMass Extension, Rotary Spreader Calibration Procedures: accepted within 5 % of the target, and half of the target for
    // each of two passes. Georgia, Calibrating Spreaders: what was weighed out over the ground walked (4.8 lb on 8 x 125 ft).
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let machine = rotary_spreader(&company.office).await;
    let at = format!("/office/equipment/{machine}/calibrations/new");
    let choice = office.open(&at).await.html;
    assert!(choice.contains("?method=course") && choice.contains("?method=pans"), "{choice}");
    assert!(!choice.contains("?method=boom"), "a spreader has no nozzles: {choice}");
    let wrong = [
        ("/product_id", ""),
        ("/calibrated_on", "today"),
        ("/test/put_in_lb", "10"),
        ("/test/left_over_lb", "half"),
        ("/test/swath_ft", ""),
        ("/test/swath_by", "half_of_centre"),
        ("/test/target_lb_per_1000_sqft", "5"),
    ];
    let faults = ["/product_id", "/calibrated_on", "/test/left_over_lb", "/test/swath_ft", "/test/distance_ft"];
    let good = [
        ("/product_id", company.feed.as_str()),
        ("/calibrated_on", "2026-09-14"),
        ("/setting", "14"),
        ("/test/left_over_lb", "5.2"),
        ("/test/swath_ft", "8"),
        ("/test/distance_ft", "125"),
    ];
    let to = made(&office, &format!("{at}?method=course"), &wrong, &faults, &good).await;
    let shown = office.open(&to).await.html;
    for words in [
        "<strong>4.8 lb of product per 1,000 sq ft</strong>",
        "✓ accepted, 4 % below the target",
        "2.5 lb per 1,000 sq ft for each of two passes",
        "✓ in order",
        "UMass Extension, Rotary Spreader Calibration Procedures",
        "read in the source itself",
        "The label prevails",
        "sweep up at once",
    ] {
        assert!(shown.contains(words), "{words} is missing: {shown}");
    }
    let list = office.open("/office/equipment").await.html;
    assert!(list.contains("✓ in order") && list.contains("1 day and 0 applications since"), "{list}");
    // 3 lb per 1,000 sq ft are 40 % below 5: told, and not beautified.
    let form = office.open(&format!("{at}?method=known_area")).await;
    let low = [
        ("/product_id", company.feed.as_str()),
        ("/calibrated_on", "2026-09-15"),
        ("/test/put_in_lb", "10"),
        ("/test/left_over_lb", "7"),
        ("/test/area_sqft", "1000"),
        ("/test/target_lb_per_1000_sqft", "5"),
    ];
    let low = office.send(&form, &low).await;
    assert_eq!(low.status, 303, "{}", low.html);
    assert!(office.open(&low.to.unwrap()).await.html.contains("■ not accepted, 40 % below the target"));
    assert!(office.open(&to).await.html.contains("a newer one of the same machine, product and person"));
    assert!(office.open(&format!("/office/equipment/{machine}")).await.html.contains("Earlier ones"));
}

#[tokio::test]
async fn a_row_of_pans_is_typed_in_one_line() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let machine = rotary_spreader(&company.office).await;
    let form = office.open(&format!("/office/equipment/{machine}/calibrations/new?method=pans")).await;
    let typed = [
        ("/product_id", company.feed.as_str()),
        ("/calibrated_on", "2026-09-14"),
        ("/test/catches", "1, 2 much 2 1"),
        ("/test/spacing_ft", "1"),
    ];
    let before = written(&company).await;
    let refused = office.send(&form, &typed).await;
    assert_eq!(refused.status, 422);
    assert!(refused.beside("/test/catches", "fault").contains("number 3, much, is not written"), "{}", refused.html);
    assert_eq!(refused.value("/test/catches"), "1, 2 much 2 1");
    assert_eq!(written(&company).await, before);
    // Half of the centre's 4 is met at the second pan on either side, 2 ft apart (computed).
    let done = office.send(&refused, &[("/test/catches", "1, 2 4 2 1")]).await;
    assert_eq!(done.status, 303, "{}", done.html);
    let shown = office.open(&done.to.unwrap()).await.html;
    assert!(shown.contains("an effective swath of 2 ft") && shown.contains("the catches vary by"), "{shown}");
    // Somebody else's test leads to nothing.
    assert_eq!(
        office.post(&form.action().replace("pans", "boom"), &[], &[("sec-fetch-site", "same-origin")]).await.status,
        404
    );
}

#[tokio::test]
async fn the_nozzles_of_a_boom_are_typed_in_one_line_and_the_worn_one_is_named() {
    // LSU AgCenter, Sprayer Calibration: a nozzle not within 10 percent is replaced. Of 20, 20, 23, 20, 20 and 20 the mean is
    // 20.5, and 23 is 12 % above (computed).
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let label = json!({
        "form": "liquid", "nitrogen_percent": "28", "slow_nitrogen_percent": "0", "phosphate_percent": "0", "potash_percent": "0",
        "printed": { "density_lb_per_gal": "10.6" },
    });
    let liquid = product(&company.office, "Liquid 28-0-0", &label).await;
    let boom = json!({ "name": "Boom 01", "kind": "boom_sprayer", "active": true });
    let boom = company.office.post("/api/v1/equipment", &boom).await.expect(201).id();
    let form = office.open(&format!("/office/equipment/{boom}/calibrations/new?method=boom")).await;
    let typed = |others: &'static str| {
        [
            ("/product_id", liquid.as_str()),
            ("/calibrated_on", "2026-09-14"),
            ("/test/caught_fl_oz", "20"),
            ("/test/other_nozzles_fl_oz", others),
            ("/test/spacing_in", "20"),
            ("/test/course_ft", "200"),
            ("/test/target_gal_per_acre", "20"),
        ]
    };
    let refused = office.send(&form, &typed("20 many")).await;
    assert!(refused.beside("/test/other_nozzles_fl_oz", "fault").contains("number 2, many,"), "{}", refused.html);
    let shown = async |others| {
        let form = office.open(&format!("/office/equipment/{boom}/calibrations/new?method=boom")).await;
        let done = office.send(&form, &typed(others)).await;
        assert_eq!(done.status, 303, "{}", done.html);
        office.open(&done.to.unwrap()).await.html
    };
    let worn = shown("20 23 20 20 20").await;
    assert!(worn.contains("■ replace, more than 10 % from the mean: 3, the one above counted as 1"), "{worn}");
    assert!(shown("20.5").await.contains("✓ none is more than 10 % from the mean"));
    assert!(!shown("").await.contains("<dt>Nozzles</dt>"), "one nozzle is compared with nothing");
}
