//! What is loaded for a day's stops.

use domain::programme::load::{LoadProduct, LoadStop, Tank, load_sheet};

use super::amount;

#[test]
fn a_load_sheet_adds_up() {
    // Computed: 25.625 and 12.5 lb with a tenth to spare are 41.94 lb, one bag of 50; two fills of a 20 lb hopper. At 1.5
    // gal on 1,000 sq ft 4,000 and 6,000 sq ft take 15 gal, from a 10 gal tank in two fills; 2 lb on 4,000 sq ft are 3.333
    // lb in a tank for 6,666.67 sq ft.
    let stop = |name: &str, product, area: &str, mass: &str| LoadStop {
        name: name.to_owned(),
        product,
        area_sqft: amount(area),
        product_lb: amount(mass),
    };
    let stops = [
        stop("one", 0, "8200", "25.625"),
        stop("two", 0, "4000", "12.5"),
        stop("three", 1, "4000", "2"),
        stop("four", 1, "6000", "3"),
    ];
    let granule =
        LoadProduct { name: "24-0-10".to_owned(), bag_lb: amount("50"), hopper_lb: Some(amount("20")), tank: None };
    let tank = Tank { holds_gal: amount("10"), rate_gal_per_1000_sqft: amount("1.5") };
    let liquid = LoadProduct { name: "18-3-6".to_owned(), bag_lb: amount("26.45"), hopper_lb: None, tank: Some(tank) };
    let sheet = load_sheet(&stops, &[granule, liquid], amount("10")).expect("bags");
    let (dry, wet) = (&sheet.products[0], &sheet.products[1]);
    assert_eq!((dry.needed_lb, dry.bags, dry.fills, dry.spray_gal), (amount("38.125"), 1, Some(2), None));
    assert_eq!((wet.spray_gal, wet.fills), (Some(amount("15")), Some(2)));
    assert_eq!(wet.product_lb_per_tank, Some(amount("3.333333")));
    assert_eq!(sheet.stops[3].spray_gal, Some(amount("9")));
}
