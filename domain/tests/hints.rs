//! What a technician is told to do about a breach.

use domain::{decision::Verdict, equipment::Equipment};

use crate::{
    facts::Given,
    traps::{ask, half_slow, nitrogen},
};

fn hint(code: &str, on: &str, given: &Given, rule: &str) -> (String, String) {
    let decision = ask(code, on, given);
    let finding = decision.findings.into_iter().find(|finding| finding.rule == rule).expect("a finding");
    (finding.message, finding.hint)
}

#[test]
fn a_season_says_who_may_all_the_same() {
    // Orange County's summer season does not bind whom the county certified (FL-22).
    let (_, hint) = hint("us-fl-orange", "2026-07-10", &half_slow("0.4"), "us-fl-orange.season");
    assert!(hint.ends_with("Whoever holds `us-fl-orange-certified` may put it down."), "{hint}");
}

#[test]
fn beyond_a_distance_is_not_at_it() {
    // The District says "beyond" 15 ft (DC-02): what lies 15 ft away is too near.
    let given = Given { water: Some("15".into()), equipment: Some(Equipment::RotarySpreader), ..half_slow("0.4") };
    let (_, hint) = hint("us-dc", "2026-05-15", &given, "us-dc.water.distance");
    assert!(hint.contains("leave untreated what lies 15 ft away or nearer and measure"), "{hint}");
    // New York says "within" 20 ft (NY-05).
    let given = Given { water: Some("12".into()), ..given };
    let (_, hint) = self::hint("us-ny", "2026-05-15", &given, "us-ny.water.distance");
    assert!(hint.contains("leave untreated what lies nearer than 20 ft and measure"), "{hint}");
}

#[test]
fn how_far_to_stay_back_is_what_the_equipment_in_hand_must() {
    // New York asks 3 ft of a drop spreader (NY-06): at 2.5 ft half a foot is too much, not seventeen.
    let at =
        |water: &str| Given { water: Some(water.into()), equipment: Some(Equipment::DropSpreader), ..half_slow("0.4") };
    let (message, hint) = hint("us-ny", "2026-05-15", &at("2.5"), "us-ny.water.distance");
    assert!(message.ends_with("with a drop spreader it must stay at least 3 ft away."), "{message}");
    assert!(hint.starts_with("Leave untreated what lies nearer than 3 ft and measure"), "{hint}");
    let decision = ask("us-ny", "2026-05-15", &at("3"));
    assert!(decision.findings.iter().all(|finding| finding.rule != "us-ny.water.distance"), "{:?}", decision.findings);
}

#[test]
fn a_soil_report_that_is_asked_for_is_one_that_would_do() {
    let bag = |organic: bool| Given { p2o5: Some("4".into()), organic, ..half_slow("0.4") };
    for (code, organic, rule, wanted) in [
        // COMAR 15.20.10.11 B: up to the University's rate (MD-33), so a category alone gives no amount.
        ("us-md", false, "us-md.professional.phosphorus.need", "recommends an amount of P2O5;"),
        // .11 A (MD-32): the low or medium range, at no more than the rate.
        (
            "us-md",
            true,
            "us-md.professional.phosphorus.organic.need",
            "rates phosphorus very low, low or medium and recommends an amount of P2O5;",
        ),
        // ECL 17-2103(1) (NY-02): a test that shows the need.
        ("us-ny", false, "us-ny.phosphorus.need", "recommends P2O5 or rates phosphorus very low or low;"),
    ] {
        let (_, hint) = hint(code, "2026-05-15", &bag(organic), rule);
        assert!(hint.contains(&format!("a report that {wanted}")), "{hint}");
    }
    // 330 CMR 31.05(2)(b) (MA-02): any report will do for an organic product.
    let rich = Given { p2o5: Some("40".into()), ..bag(true) };
    let (_, hint) = hint("us-ma", "2026-05-15", &rich, "us-ma.phosphorus.organic.need");
    assert!(hint.contains("rates phosphorus very low, low, medium, optimum, high or excessive;"), "{hint}");
}

#[test]
fn a_bar_on_ground_for_phosphorus_lets_other_products_through() {
    // RCW 15.54.500(1)(b) bars frozen ground for products with phosphorus only (WA-02).
    let given = Given { p2o5: Some("1".into()), ground: Some("frozen".into()), ..nitrogen("0.4") };
    let (message, hint) = hint("us-wa", "2026-05-15", &given, "us-wa.ground");
    assert!(message.contains("no P2O5 may go down on ground that is frozen"), "{message}");
    assert_eq!(hint, "Come back when the ground has changed, or take a product without phosphorus.");
}

/// Md. Code, Agric. 8-803.5(d) (MD-17): drains count beside water.
#[test]
fn a_hair_less_than_the_whole_lawn_is_the_whole() {
    let rule = |treated: &str, water: Option<&str>, drains: Option<&str>| {
        let given = Given {
            water: Some(water.unwrap_or("unknown").into()),
            kept_from_water: Some("20".into()),
            kept_from_drains: drains.map(Into::into),
            area: Some("8000".into()),
            treated: Some(treated.into()),
            pavement_cleaned: Some(true),
            equipment: Some(Equipment::RotarySpreader),
            ..half_slow("0.4")
        };
        let decision = ask("us-md", "2026-05-15", &given);
        decision.findings.into_iter().find(|finding| finding.rule == "us-md.water.distance")
    };
    let verdict = |treated: &str| rule(treated, Some("5"), Some("20")).map(|finding| finding.verdict);
    assert_eq!(["8000", "7999.99", "7920.01"].map(verdict), [Some(Verdict::Stop); 3]);
    assert_eq!(["7920", "4000"].map(verdict), [Some(Verdict::Care); 2]);
    // Both distances were told, so nobody is asked for them again.
    let whole = rule("8000", Some("5"), Some("20")).expect("a finding");
    assert!(
        whole.hint.contains("that the whole lawn was treated") && !whole.hint.contains("send how far"),
        "{}",
        whole.hint
    );
    let silent = rule("8000", Some("5"), None).expect("a finding");
    assert!(silent.hint.contains("send how far it was kept from water and from drains"), "{}", silent.hint);
    // Where nobody measured, the record alone settles it, if it speaks of both.
    let water_alone = rule("8000", None, None).expect("a finding");
    assert!(
        water_alone.hint.starts_with("The record does not say how far the work was kept from drains"),
        "{}",
        water_alone.hint
    );
    assert!(rule("8000", None, Some("20")).is_none_or(|finding| finding.verdict == Verdict::Go));
}
