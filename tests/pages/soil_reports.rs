//! The laboratory's numbers of single nutrients, typed in rows, and what follows from them read out with its source.

use harness::world::{Company, soil_report};

use super::visitor::{Visitor, made};

#[tokio::test]
async fn numbers_are_typed_in_rows_and_read_by_their_own_table() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let section = format!("/office/sections/{}", company.front);
    let wrong = [
        ("/sampled_on", "2026-03-02"),
        ("/laboratory", "Laboratory 01"),
        ("/extractant", "mehlich_3"),
        ("/laboratory_table", "rutgers"),
        ("/acidity/meq", "6.5"),
        ("/values/1/nutrient", "phosphorus"),
        ("/values/1/reading", "thirty"),
        ("/values/1/unit", "lb_per_acre"),
        ("/values/4/nutrient", "potassium"),
        ("/values/4/unit", ""),
    ];
    let form = office.open(&format!("{section}/soil-reports/new")).await;
    let refused = office.send(&form, &wrong).await;
    assert_eq!(refused.status, 422);
    let faults = [
        "/acidity/per",
        "/values/0/reading",
        "/values/0/basis",
        "/values/1/reading",
        "/values/1/unit",
        "/values/1/basis",
    ];
    for name in faults {
        assert!(refused.beside(name, "fault").starts_with('■'), "no fault beside {name}: {}", refused.html);
    }
    // The same nutrient twice for one extractant is one number too many.
    let good = [
        ("/acidity/per", "100_g"),
        ("/ph", "5.8"),
        ("/values/0/reading", "30"),
        ("/values/0/basis", "element"),
        ("/values/1/nutrient", "phosphorus"),
        ("/values/1/reading", "31"),
        ("/values/1/unit", "lb_per_acre"),
        ("/values/1/basis", "element"),
    ];
    let twice = office.send(&refused, &good).await;
    assert!(twice.beside("/values/1/nutrient", "fault").contains("one report has one number"), "{}", twice.html);
    let gone = ["nutrient", "reading", "unit", "basis"].map(|member| format!("/values/1/{member}"));
    let gone: Vec<(&str, &str)> = gone.iter().map(|name| (name.as_str(), "")).collect();
    let done = office.send(&twice, &gone).await;
    assert_eq!((done.status, done.to.as_deref()), (303, Some(section.as_str())), "{}", done.html);
    let shown = office.open(&section).await.html;
    // Rutgers NJAES Soil Testing Laboratory, Relative Levels of Nutrients, read: 30 lb of P on an acre by Mehlich-3 are low.
    for words in [
        "30 lb per acre, Mehlich-3: <strong>low</strong>",
        "Rutgers NJAES Soil Testing Laboratory",
        "read in the source itself",
        "How long the law accepts it",
        "Penn State: cool-season turf",
        "Do not mix lime with fertilizer",
    ] {
        assert!(shown.contains(words), "{words} is missing: {shown}");
    }
    stands_on_its_scale(&shown);
    let report = shown.split_once("<a href=\"/office/soil-reports/").unwrap().1.split_once('"').unwrap().0;
    assert!(!report.is_empty());
}

/// The number of the table beside it, on the bands that its own table prints.
fn stands_on_its_scale(shown: &str) {
    // To 24, 45, 71 and 137, and beyond to 184; 30 of 184 are 16.30 %.
    let scale = shown.split_once("aria-label=\"30 lb per acre of phosphorus: low\"").unwrap().1;
    let (picture, bands) = scale.split_once("<small>").unwrap();
    let bands = bands.split_once("</small>").unwrap().0;
    assert!(picture.contains("<text x=\"16.30%\" y=\"12\" text-anchor=\"start\">30 lb per acre</text>"), "{picture}");
    for (end, number) in [("13.04%", "24"), ("24.45%", "45"), ("38.58%", "71"), ("74.45%", "137")] {
        assert!(picture.contains(&format!("x=\"{end}\" y=\"57\" text-anchor=\"middle\">{number}</text>")), "{picture}");
    }
    assert!(picture.contains("class=\"band here\" x=\"13.04%\" y=\"26\" width=\"11.41%\""), "{picture}");
    assert!(
        bands.contains("<strong>▼ 25 to 45: low</strong>") && bands.contains("from 138: very high (excessive)"),
        "{bands}"
    );
    assert!(shown.contains("aria-label=\"pH 5.8 is below the range of 6 to 7.2\""), "{shown}");
}

#[tokio::test]
async fn without_printed_bands_no_scale_is_drawn() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let path = format!("/office/sections/{}/soil-reports/new", company.front);
    let good = [
        ("/sampled_on", "2026-03-02"),
        ("/laboratory", "Laboratory 01"),
        ("/extractant", "mehlich_3"),
        ("/values/0/nutrient", "potassium"),
        ("/values/0/reading", "90"),
        ("/values/0/unit", "ppm"),
        ("/values/0/basis", "element"),
    ];
    let wrong = [("/sampled_on", "2026-03-02"), ("/laboratory", "")];
    let section = made(&office, &path, &wrong, &["/laboratory"], &good).await;
    let shown = office.open(&section).await.html;
    assert!(shown.contains("No scale is drawn where no bands are printed"), "{shown}");
    assert!(shown.contains("<li>potassium 90 ppm: No published table was named for this laboratory."), "{shown}");
    assert!(!shown.contains("of potassium:"), "{shown}");
}

#[tokio::test]
async fn lime_is_asked_on_the_report_s_page() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let path = format!("/office/sections/{}/soil-reports/new", company.rear);
    let wrong = [("/sampled_on", "2026-03-02"), ("/laboratory", ""), ("/extractant", "mehlich_3"), ("/ph", "5.8")];
    let good = [("/laboratory", "Laboratory 01"), ("/lime_recommended_lb_per_1000_sqft", "110")];
    let section = made(&office, &path, &wrong, &["/laboratory"], &good).await;
    let shown = office.open(&section).await.html;
    let newest = shown.split_once("What the newest report means").unwrap().1;
    assert!(
        newest.contains("<strong>110 lb per 1,000 sq ft</strong> as pure calcium carbonate, by the laboratory"),
        "{newest}"
    );
    let report = newest.split_once("<a href=\"/office/soil-reports/").unwrap().1.split_once('"').unwrap().0;
    let report = format!("/office/soil-reports/{report}");
    // Penn State AASL, Turf Handbook: over 100 lb in two or more applications 4 to 6 months apart; 110 / 0.8 is 137.5.
    let asked = office.open(&format!("{report}?by=&cce_percent=80&split_rule=penn_state&first_on=2026-09-15")).await;
    assert_eq!(asked.status, 200, "{}", asked.html);
    for words in ["137.5 lb per 1,000 sq ft at 80 %", "not before 2026-09-15: 55 lb", "not before 2027-01-15: 55 lb"] {
        assert!(asked.html.contains(words), "{words} is missing: {}", asked.html);
    }
    let refused = office.open(&format!("{report}?by=me&goal=acid&cce_percent=pure&first_on=soon")).await;
    assert_eq!(refused.status, 422);
    for name in ["by", "goal", "cce_percent", "first_on"] {
        assert!(refused.beside(name, "fault").starts_with('■'), "{name}: {}", refused.html);
    }
    let _ = soil_report(&company.office, &company.rear, "2020-03-02", "low", "1").await;
    assert!(office.open(&section).await.html.contains("110 lb per 1,000 sq ft"), "the newest by its day is read out");
    assert_eq!(Visitor::technician(&company).await.open(&report).await.status, 403);
}

#[tokio::test]
async fn a_report_that_is_wrong_is_corrected_on_its_page() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let report = soil_report(&company.office, &company.front, "2026-08-02", "low", "1").await;
    let page = format!("/office/soil-reports/{report}");
    let path = format!("{page}/correct");
    assert!(office.open(&page).await.html.contains(&path));
    let form = office.open(&path).await;
    let stands = ["/sampled_on", "/laboratory", "/cores", "/phosphorus"].map(|name| form.value(name));
    assert_eq!(stands, ["2026-08-02", "Sample Laboratory", "12", "low"]);
    let good = [("/sampled_on", "2026-08-03"), ("/ph", "6.1"), ("/reason", "A wrong digit.")];
    let to = made(&office, &path, &[("/reason", "")], &["/reason"], &good).await;
    let now = office.open(&to).await.html;
    assert!(now.contains("6.1") && now.contains("A wrong digit.") && now.contains(&page), "{now}");
    let old = office.open(&page).await.html;
    assert!(old.contains("▲ It was corrected") && old.contains(&to) && !old.contains(&path), "{old}");
    // One of another lawn counts nowhere on this one.
    let good = [("/not_of_this_lawn", "true"), ("/reason", "The neighbor's.")];
    let to = made(&office, &format!("{to}/correct"), &[("/reason", "")], &["/reason"], &good).await;
    assert!(office.open(&to).await.html.contains("▲ It is not of this lawn: neither counts here."));
    let section = office.open(&format!("/office/sections/{}", company.front)).await.html;
    assert!(section.contains("▲ of another lawn, does not count here"), "{section}");
}
