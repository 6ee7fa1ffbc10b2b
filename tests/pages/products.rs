//! Products with their label, deliveries and counted stock, entered by forms.

use harness::world::Company;

use super::visitor::{Visitor, changed, made, written};

#[tokio::test]
async fn a_product_is_copied_from_its_label() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let wrong = [
        ("/name", ""),
        ("/label/form", "liquid"),
        ("/net_weight_lb", "heavy"),
        ("/label/nitrogen_percent", "much"),
        ("/label/slow_nitrogen_percent", ""),
        ("/label/phosphate_percent", "0"),
        ("/label/potash_percent", "5"),
        ("/label/wind_limit_mph", "gale"),
    ];
    let faults =
        ["/name", "/net_weight_lb", "/label/nitrogen_percent", "/label/slow_nitrogen_percent", "/label/wind_limit_mph"];
    let good = [
        ("/name", "Liquid 18-0-5"),
        ("/net_weight_lb", "27.5"),
        ("/label/nitrogen_percent", "18"),
        ("/label/slow_nitrogen_percent", "5.4"),
        ("/label/wind_limit_mph", "10"),
        ("/label/organic", "true"),
        ("/label/printed/density_lb_per_gal", "11"),
        ("/label/printed/pesticide/epa_registration", ""),
    ];
    let to = made(&office, "/office/products/new", &wrong, &faults, &good).await;
    let stored = company.office.get(&to.replace("/office", "/api/v1")).await.expect(200).body;
    assert_eq!(stored["grade"], "18-0-5");
    assert_eq!((&stored["label"]["organic"], &stored["label"]["compost"]), (&true.into(), &false.into()));
    assert_eq!(stored["label"]["printed"]["density_lb_per_gal"], "11");
    assert!(stored["label"]["printed"]["pesticide"].is_null());
    assert!(!office.open(&to).await.html.contains("pesticide"));
    changed(&office, &format!("{to}/status"), "/status", "hold", "retired").await;
    let shown = office.open(&to).await.html;
    assert!(shown.contains("■ retired") && shown.contains("The label itself prevails"), "{shown}");
    let form = office.open("/office/products/new").await;
    let more = [
        ("/name", "Odd"),
        ("/label/form", "granular"),
        ("/net_weight_lb", "50"),
        ("/label/nitrogen_percent", "10"),
        ("/label/slow_nitrogen_percent", "20"),
        ("/label/phosphate_percent", "0"),
        ("/label/potash_percent", "0"),
    ];
    let odd = office.send(&form, &more).await;
    assert_eq!(odd.status, 422);
    assert!(odd.beside("/label/slow_nitrogen_percent", "fault").contains("cannot be more than all"), "{}", odd.html);
}

#[tokio::test]
async fn the_pesticide_half_of_a_label_is_folded_until_it_says_something() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let at = |member: &str| format!("/label/printed/pesticide/{member}");
    let names = [at("signal_word"), at("ingredients/1/name"), at("ingredients/1/percent"), at("reentry_hours")];
    let number = at("epa_registration");
    let feed = [
        ("/name", "Weed and feed 20-0-5"),
        ("/label/form", "granular"),
        ("/net_weight_lb", "50"),
        ("/label/nitrogen_percent", "20"),
        ("/label/slow_nitrogen_percent", "10"),
        ("/label/phosphate_percent", "0"),
        ("/label/potash_percent", "5"),
        (&names[0], "caution"),
        (&names[1], "An herbicide"),
        (&names[2], "0.61"),
        (&names[3], "24"),
    ];
    let form = office.open("/office/products/new").await;
    assert!(form.html.contains("<details><summary>Combination product"), "{}", form.html);
    let odd = office.send(&form, &feed).await;
    assert_eq!(odd.status, 422);
    assert!(odd.html.contains("<details open><summary>Combination product"), "{}", odd.html);
    assert!(!odd.beside(&number, "fault").is_empty(), "the number is missing: {}", odd.html);
    let whole: Vec<(&str, &str)> = feed.into_iter().chain([(number.as_str(), "6767-230")]).collect();
    // Sent from the empty form again: the one that came back has the ingredient in its first row already.
    let made = office.send(&form, &whole).await;
    let shown = office.open(made.to.as_deref().unwrap()).await.html;
    for words in ["6767-230", "CAUTION", "An herbicide 0.61 %", "24 hours after the work"] {
        assert!(shown.contains(words), "{words}: {shown}");
    }
}

#[tokio::test]
async fn deliveries_and_counts_move_the_stock() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let product = format!("/office/products/{}", company.feed);
    let wrong = [("/lot_number", ""), ("/supplier", "Supplier 01"), ("/received_on", "today"), ("/received_lb", "")];
    let good = [("/lot_number", "LOT-2"), ("/received_on", "2026-09-01"), ("/received_lb", "500")];
    let faults = ["/lot_number", "/received_on", "/received_lb"];
    assert_eq!(made(&office, &format!("{product}/lots/new"), &wrong, &faults, &good).await, product);
    assert!(office.open(&product).await.html.contains("2,500 lb in stock"));
    // The same lot once more, from a form of its own: told, and not entered.
    let before = written(&company).await;
    let form = office.open(&format!("{product}/lots/new")).await;
    let again = [
        ("/lot_number", "LOT-2"),
        ("/supplier", "Supplier 01"),
        ("/received_on", "2026-09-02"),
        ("/received_lb", "500"),
    ];
    let taken = office.send(&form, &again).await;
    assert_eq!(taken.status, 409);
    assert!(taken.html.contains("Is it the same delivery, written twice?"), "{}", taken.html);
    assert_eq!(written(&company).await, before);

    let wrong = [("/kind", "counted"), ("/counted_lb", "lots"), ("/moved_on", ""), ("/reason", "")];
    let faults = ["/counted_lb", "/moved_on", "/reason"];
    let good = [("/counted_lb", "2480"), ("/moved_on", "2026-09-14"), ("/reason", "Counted by Office 01")];
    assert_eq!(made(&office, &format!("{product}/stock/new"), &wrong, &faults, &good).await, product);
    let shown = office.open(&product).await.html;
    assert!(shown.contains("2,480 lb in stock") && shown.contains("-20"), "{shown}");
    let form = office.open(&format!("{product}/stock/new")).await;
    let spilled = [("/kind", "spilled"), ("/mass_lb", "9000"), ("/moved_on", "2026-09-14"), ("/reason", "Bag torn")];
    let much = office.send(&form, &spilled).await;
    assert_eq!(much.status, 422);
    assert!(much.beside("/mass_lb", "fault").contains("more than the 2480 lb"), "{}", much.html);
}
