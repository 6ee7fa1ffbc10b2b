//! Lawn sections, their measurements and soil reports, and visits, entered and corrected by forms.

use harness::world::Company;

use super::visitor::{Visitor, changed, made};

#[tokio::test]
async fn a_section_is_entered_measured_and_sampled() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let path = format!("/office/properties/{}/sections/new", company.property);
    let wrong = [("/name", ""), ("/water", ""), ("/water_distance_ft", "far"), ("/established_on", "lately")];
    let faults = ["/name", "/water", "/water_distance_ft", "/established_on", "/touches_pavement"];
    let good = [
        ("/name", "side lawn"),
        ("/species", "fine_fescue"),
        ("/water", "near"),
        ("/water_distance_ft", "40"),
        ("/established_on", "2015-09-01"),
        ("/touches_pavement", "false"),
    ];
    let asked = office.open(&path).await.html;
    assert!(asked.contains("count storm drains, ditches, or the curb like water"), "{asked}");
    let to = made(&office, &path, &wrong, &faults, &good).await;
    // What the schema cannot know comes back beside its field too.
    let page = office.open(&to).await;
    let dry = office.send(&page, &[("/water", "none"), ("/established_on", "2027-01-01")]).await;
    assert_eq!(dry.status, 422);
    assert!(dry.beside("/water_distance_ft", "fault").contains("only when water is near"), "{}", dry.html);
    assert!(dry.beside("/established_on", "fault").contains("lies in the future"), "{}", dry.html);
    changed(&office, &to, "/name", "side lawn, left", "side lawn, right").await;

    let wrong = [("/area_sqft", "big"), ("/measured_on", ""), ("/method", "wheel"), ("/measured_by", "")];
    let good = [("/area_sqft", "3200.5"), ("/measured_on", "2026-09-01"), ("/measured_by", "Office 01")];
    let faults = ["/area_sqft", "/measured_on", "/measured_by"];
    let back = made(&office, &format!("{to}/measurements/new"), &wrong, &faults, &good).await;
    assert_eq!(back, to);
    assert!(office.open(&to).await.html.contains("3,200.5 sq ft, by Office 01"));

    let wrong = [
        ("/sampled_on", "2026-03-02"),
        ("/laboratory", ""),
        ("/extractant", ""),
        ("/cores", "a dozen"),
        ("/ph", "acid"),
    ];
    let faults = ["/laboratory", "/extractant", "/cores", "/ph"];
    let good = [
        ("/laboratory", "Laboratory 01"),
        ("/extractant", "ammonium_acetate"),
        ("/cores", "12"),
        ("/depth_in", "4"),
        ("/tool", "probe"),
        ("/buffer_ph", "6.9"),
        ("/organic_matter_percent", "3.2"),
        ("/lime_recommended_lb_per_1000_sqft", "50"),
        ("/ph", "6.4"),
        ("/phosphorus", "low"),
        ("/phosphate_recommended_lb_per_1000_sqft", "1"),
    ];
    let back = made(&office, &format!("{to}/soil-reports/new"), &wrong, &faults, &good).await;
    assert_eq!(back, to);
    let shown = office.open(&to).await.html;
    assert!(shown.contains("phosphorus low, pH 6.4"), "{shown}");
}

#[tokio::test]
async fn a_visit_is_planned_changed_and_closed() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let path = format!("/office/properties/{}/visits/new", company.property);
    let technician = company.phone.id.as_deref().unwrap();
    let wrong = [
        ("/person_id", ""),
        ("/planned_on", "soon"),
        ("/product_id", &company.feed),
        ("/purpose", "maintenance"),
        ("/target_nitrogen_lb_per_1000_sqft", "much"),
    ];
    let faults = ["/person_id", "/planned_on", "/target_nitrogen_lb_per_1000_sqft"];
    let good = [
        ("/person_id", technician),
        ("/planned_on", "2026-10-20"),
        ("/target_nitrogen_lb_per_1000_sqft", "0.5"),
        ("/section_ids", &company.front),
    ];
    let back = made(&office, &path, &wrong, &faults, &good).await;
    let shown = office.open(&back).await.html;
    assert!(shown.contains("2026-10-20</a></th><td class=\"n\">1</td><td>0.50 lb N"), "{shown}");
    let visit = format!("/office/visits/{}", company.visit);
    changed(&office, &visit, "/planned_on", "2026-09-16", "2026-09-17").await;
    let form = office.open(&visit).await;
    let unsaid = office.send(&form, &[("/status", "not_done")]).await;
    assert_eq!(unsaid.status, 422);
    assert!(unsaid.beside("/reason", "fault").contains("is required when"), "{}", unsaid.html);
    assert_eq!(office.send(&unsaid, &[("/reason", "Gate locked")]).await.status, 303);
    assert!(!office.open(&back).await.html.contains(&visit), "what has ended is not to come");
}
