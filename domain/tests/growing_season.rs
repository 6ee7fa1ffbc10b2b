//! An excuse for new turf holds as long as the day of seeding lets it.

use domain::{
    application::Purpose,
    decision::{Decision, Finding, Outcome, Verdict},
    equipment::Equipment,
};

use crate::{
    facts::{Given, Report},
    traps::{ask, stands},
};

/// Phosphorus that goes down as a starter, on turf that was seeded on a day.
fn starter(seeded: Option<&str>) -> Given {
    Given {
        p2o5: Some("10".into()),
        purpose: Some(Purpose::Establishment),
        established_on: seeded.map(|day| day.parse().expect("a day")),
        ..Given::default()
    }
}

fn finding<'d>(decision: &'d Decision, rule: &str) -> &'d Finding {
    decision.findings.iter().find(|finding| finding.rule == rule).expect("a finding")
}

#[test]
fn the_first_growing_season_ends_a_year_after_seeding_in_each_state() {
    // NY-02, MN-03, WI-02 and MA-01 excuse the first growing season, IL-03 the first two, and Connecticut's lawn is
    // established after two (CT-01, CT-02).
    for (code, last, over) in [
        ("us-ny", "2025-05-15", "2025-05-14"),
        ("us-mn", "2025-05-15", "2025-05-14"),
        ("us-wi", "2025-05-15", "2025-05-14"),
        ("us-ma", "2025-05-15", "2025-05-14"),
        ("us-il", "2024-05-15", "2024-05-14"),
        ("us-ct", "2024-05-15", "2024-05-14"),
    ] {
        let stands = |seeded: &str| stands(code, "2026-05-15", &starter(Some(seeded)), "phosphorus.need");
        assert_eq!((stands(last), stands(over)), ("met", "refused"), "{code}");
        // A starter goes down before the seed as well.
        assert_eq!(stands("2026-05-20"), "met", "{code}");
    }
}

#[test]
fn the_message_says_since_when_the_lawn_is_established() {
    // NY-02.
    let decision = ask("us-ny", "2026-05-15", &starter(Some("2019-09-01")));
    let message = &finding(&decision, "us-ny.phosphorus.need").message;
    let end = "New turf is excused for 12 months, and the front lawn has been established since 2019-09-01.";
    assert!(message.ends_with(end), "{message}");
}

#[test]
fn without_the_day_of_seeding_the_excuse_asks_for_care() {
    // NY-02.
    let decision = ask("us-ny", "2026-05-15", &starter(None));
    let found = finding(&decision, "us-ny.phosphorus.need");
    assert_eq!((found.outcome, found.verdict, decision.verdict), (Outcome::Care, Verdict::Care, Verdict::Care));
    assert_eq!(found.hint, "Enter the day of seeding or sodding of the front lawn.");
    assert_eq!(decision.sections[0].largest_lawful_product_lb, None);
    // With a report that shows a need no excuse is wanted.
    let report = Report {
        sampled_on: "2026-01-01".parse().expect("a day"),
        category: Some(domain::soil::SoilCategory::Low),
        recommended: Some("1".into()),
    };
    let given = Given { soil_reports: vec![report], ..starter(None) };
    assert_eq!(stands("us-ny", "2026-05-15", &given, "phosphorus.need"), "met");
}

#[test]
fn a_distance_is_lifted_in_the_first_growing_season_only() {
    // NY-08; 20 ft for a rotary spreader (NY-05).
    let given = |seeded: Option<&str>| Given {
        water: Some("12".into()),
        equipment: Some(Equipment::RotarySpreader),
        n: Some("20".into()),
        n_rate: Some("0.4".into()),
        p2o5: None,
        ..starter(seeded)
    };
    let stands = |seeded: Option<&str>| stands("us-ny", "2026-05-15", &given(seeded), "water.distance");
    assert_eq!(stands(Some("2025-05-15")), "met");
    assert_eq!(stands(Some("2025-05-14")), "refused");
    assert_eq!(stands(None), "care");
}

#[test]
fn repair_has_no_season_and_bare_ground_is_not_an_old_lawn() {
    // Conn. P.A. 12-155 s.2(b) lets seeding, sodding and overseeding through (CT-02), whenever the lawn was seeded first.
    let repair = |seeded: &str| Given { purpose: Some(Purpose::Repair), ..starter(Some(seeded)) };
    assert_eq!(stands("us-ct", "2026-05-15", &repair("2019-09-01"), "phosphorus.need"), "met");
    // 330 CMR 31.05(1)(a) names a new lawn, by bare ground or renovation, in its first season: repair is neither (MA-01).
    for seeded in ["2019-09-01", "2026-04-01"] {
        assert_eq!(stands("us-ma", "2026-05-15", &repair(seeded), "phosphorus.need"), "refused", "{seeded}");
    }
    assert_eq!(stands("us-ma", "2026-05-15", &starter(Some("2026-04-01")), "phosphorus.need"), "met");
    // COMAR 15.20.10.10 B: no soil test for establishing on bare ground (MD-34).
    let rule = "professional.soil_report.first_phosphate";
    assert_eq!(stands("us-md", "2026-05-15", &starter(Some("2026-04-01")), rule), "silent");
    assert_eq!(stands("us-md", "2026-05-15", &starter(Some("2019-09-01")), rule), "refused");
    assert_eq!(stands("us-md", "2026-05-15", &starter(None), rule), "care");
}
