//! Measurements from shapes and outlines, entered by forms and read out part by part.

use harness::world::Company;

use super::visitor::{Visitor, made, written};

#[tokio::test]
async fn a_lawn_is_worked_out_from_its_shapes() {
    // Maryland, HGIC lawn measuring sheet, read: 67 x 130 + a triangle of 20 x 20 + 20 x 25, less 4,857.5: 4,552.5.
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let section = format!("/office/sections/{}", company.front);
    let path = format!("{section}/measurements/shapes");
    assert!(office.open(&section).await.html.contains(&path));
    assert!(office.open(&format!("{section}/measurements/new")).await.html.contains(&path));
    let which = office.open(&path).await;
    assert!(which.html.contains("method=\"get\""), "{}", which.html);
    let nothing = office.open(&format!("{path}?lawn1=&off1=star")).await;
    assert_eq!(nothing.status, 422);
    assert!(nothing.beside("off1", "fault").contains("no shape"), "{}", nothing.html);
    assert!(office.open(&format!("{path}?lawn1=")).await.beside("lawn1", "fault").contains("is required"));
    let asked = format!("{path}?lawn1=rectangle&lawn2=&lawn3=triangle&lawn4=rectangle&off1=rectangle");
    let wrong = [
        ("/from/lawn/0/length_ft", "67"),
        ("/from/lawn/0/width_ft", "wide"),
        ("/from/lawn/1/base_ft", ""),
        ("/from/not_lawn/0/length_ft", "long"),
        ("/measured_on", "lately"),
        ("/method", "tape"),
        ("/measured_by", ""),
    ];
    let faults = [
        "/from/lawn/0/width_ft",
        "/from/lawn/1/base_ft",
        "/from/lawn/1/height_ft",
        "/from/lawn/2/length_ft",
        "/from/not_lawn/0/length_ft",
        "/measured_on",
        "/measured_by",
    ];
    let good = [
        ("/from/lawn/0/width_ft", "130"),
        ("/from/lawn/1/base_ft", "20"),
        ("/from/lawn/1/height_ft", "20"),
        ("/from/lawn/2/length_ft", "20"),
        ("/from/lawn/2/width_ft", "25"),
        ("/from/not_lawn/0/length_ft", "4857.5"),
        ("/from/not_lawn/0/width_ft", "1"),
        ("/from/reading_error_ft", "0.5"),
        ("/measured_on", "2026-09-01"),
        ("/measured_by", "Tech 01"),
    ];
    let to = made(&office, &asked, &wrong, &faults, &good).await;
    let shown = office.open(&to).await.html;
    for words in [
        "<strong>4,552.5 sq ft</strong>",
        "base x height / 2",
        "Western Australia TAFE",
        "lawn, part 2: triangle",
        "sq ft either way",
    ] {
        assert!(shown.contains(words), "{words} is missing: {shown}");
    }
    assert!(office.open(&section).await.html.contains(&to));
}

#[tokio::test]
async fn widths_and_radii_are_typed_in_a_row() {
    // Surveying field notes, inputs read; computed with the trapezoidal rule: 472.5. How to Measure a Putting Green, read:
    // printed 305.27; computed with the exact mean and pi: 305.57.
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let path = format!("/office/sections/{}/measurements/shapes", company.front);
    let told = [("/measured_on", "2026-09-01"), ("/method", "offsets"), ("/measured_by", "Tech 01")];
    let offsets = [
        ("/from/lawn/0/spacing_ft", "15"),
        ("/from/lawn/0/widths_ft", "3.9 4.5 5.1 6.5, 6.3 5.1 4.1"),
        ("/from/lawn/0/rule", "trapezoidal"),
    ];
    let form = office.open(&format!("{path}?lawn1=offsets")).await;
    let done = office.send(&form, &[&told[..], &offsets].concat()).await;
    assert_eq!(done.status, 303, "{}", done.html);
    assert!(office.open(&done.to.unwrap()).await.html.contains("472.5 sq ft"));
    let radii = "7.1 8.9 9.7 10.9 12.4 11.7 11.8 9.9 6.8 8.2 9.7 10.4 12.0 11.4 8.9 8.0";
    let form = office.open(&format!("{path}?lawn1=average_radius")).await;
    let wrong = office.send(&form, &[&told[..], &[("/from/lawn/0/radii_ft", "7.1 far 9")]].concat()).await;
    assert!(wrong.beside("/from/lawn/0/radii_ft", "fault").contains("number 2, far,"), "{}", wrong.html);
    let done = office.send(&wrong, &[("/from/lawn/0/radii_ft", radii)]).await;
    assert_eq!(done.status, 303, "{}", done.html);
    assert!(office.open(&done.to.unwrap()).await.html.contains("305.57 sq ft"));
}

#[tokio::test]
async fn an_outline_is_pasted() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let path = format!("/office/sections/{}/measurements/shapes?lawn1=outline", company.front);
    let form = office.open(&path).await;
    let told = [("/measured_on", "2026-09-01"), ("/method", "aerial_image"), ("/measured_by", "Tech 01")];
    let with = |outline: &'static str| [&told[..], &[("/from/lawn/0/outline", outline)]].concat();
    let before = written(&company).await;
    let torn = office.send(&form, &with("{\"type\": \"Polygon\", ")).await;
    assert_eq!(torn.status, 422);
    assert!(torn.beside("/from/lawn/0/outline", "fault").starts_with("■ is not JSON: "), "{}", torn.html);
    let open = "{\"type\":\"Polygon\",\"coordinates\":[[[-76.88,40.27],[-76.8797,40.27],[-76.8797,40.2703],[-76.88,40.2703]]]}";
    let open = office.send(&torn, &with(open)).await;
    assert!(open.beside("/from/lawn/0/outline", "fault").contains("does not end where it began"), "{}", open.html);
    assert_eq!(written(&company).await, before);
    let ring = "[[-76.88,40.27],[-76.8797,40.27],[-76.8797,40.2703],[-76.88,40.2703],[-76.88,40.27]]";
    let closed: &'static str = format!("{{\"type\":\"Polygon\",\"coordinates\":[{ring}]}}").leak();
    // Where an outline is drawn, a distance may be kept; without one, from anything but water, the server asks for it.
    let well = [("/from/keep_off/0/kind", "well"), ("/from/keep_off/0/positions", "[[-76.88, 40.27]]")];
    let unsaid = office.send(&open, &[&with(closed)[..], &well].concat()).await;
    assert!(unsaid.beside("/from/keep_off/0/distance_ft", "fault").starts_with('■'), "{}", unsaid.html);
    let done = office.send(&unsaid, &[("/from/keep_off/0/distance_ft", "15")]).await;
    assert_eq!(done.status, 303, "{}", done.html);
    let to = done.to.unwrap();
    let stored = company.office.get(&to.replace("/office", "/api/v1")).await.expect(200).body;
    let shown = office.open(&to).await.html;
    for words in [
        format!("<strong>{} sq ft</strong>", stored["area_sqft"].as_str().unwrap()),
        format!("<dd>{} sq ft</dd>", stored["lawn_sqft"].as_str().unwrap()),
        "15 ft from a well, as entered".to_owned(),
        "The distance is that of the day of measuring".to_owned(),
    ] {
        // The page sets thousands apart; the figure is the stored one.
        assert!(shown.replace(',', "").contains(&words.replace(',', "")), "{words} is missing: {shown}");
    }
}

#[tokio::test]
async fn a_measurement_that_is_wrong_is_corrected_on_its_page() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let list = format!("/api/v1/sections/{}/measurements", company.front);
    let first = company.office.get(&list).await.expect(200).body["items"][0]["id"].as_str().unwrap().to_owned();
    let page = format!("/office/measurements/{first}");
    let path = format!("{page}/correct");
    assert!(office.open(&page).await.html.contains(&path));
    let form = office.open(&path).await;
    assert_eq!((form.value("/area_sqft").as_str(), form.value("/measured_on").as_str()), ("8200", "2025-03-01"));
    let wrong = [("/area_sqft", "8300"), ("/measured_on", "2027-03-02"), ("/reason", "")];
    let good = [("/measured_on", "2025-03-02"), ("/reason", "A wrong digit.")];
    let to = made(&office, &path, &wrong, &["/measured_on", "/reason"], &good).await;
    let now = office.open(&to).await.html;
    assert!(now.contains("8,300 sq ft") && now.contains("A wrong digit.") && now.contains(&page), "{now}");
    let old = office.open(&page).await.html;
    assert!(old.contains("▲ It was corrected") && old.contains(&to) && !old.contains(&path), "{old}");
    let section = office.open(&format!("/office/sections/{}", company.front)).await.html;
    assert!(section.contains("8,200 sq ft, by Office 01 ▲ corrected, does not count any more"), "{section}");
    // One of another lawn counts nowhere on this one.
    let elsewhere = format!("{to}/correct");
    let good = [("/not_of_this_lawn", "true"), ("/reason", "The neighbor's.")];
    let to = made(&office, &elsewhere, &[("/reason", "")], &["/reason"], &good).await;
    assert!(office.open(&to).await.html.contains("▲ It is not of this lawn: neither counts here."));
    let section = office.open(&format!("/office/sections/{}", company.front)).await.html;
    assert!(section.contains("▲ of another lawn, does not count here"), "{section}");
    // Worked out from shapes, it keeps them: 100 x 80.
    let shapes = serde_json::json!({
        "measured_on": "2026-09-01", "method": "tape", "measured_by": "Office 01",
        "from": { "lawn": [{ "shape": "rectangle", "length_ft": "100", "width_ft": "80" }], "reading_error_ft": "0.5" },
    });
    let drawn = company.office.post(&list, &shapes).await.expect(201).id();
    let path = format!("/office/measurements/{drawn}/correct");
    let good = [("/measured_on", "2026-08-01"), ("/reason", "August, not September.")];
    let to = made(&office, &path, &[("/reason", "")], &["/reason"], &good).await;
    let stored = company.office.get(&to.replace("/office", "/api/v1")).await.expect(200).body;
    assert_eq!((stored["area_sqft"].as_str(), stored["measured_on"].as_str()), (Some("8000"), Some("2026-08-01")));
    assert_eq!(stored["from"]["lawn"][0]["shape"], "rectangle");
}
