//! What a technician is told to do about a breach.

use domain::equipment::Equipment;

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
fn a_bar_on_ground_for_phosphorus_lets_other_products_through() {
    // RCW 15.54.500(1)(b) bars frozen ground for products with phosphorus only (WA-02).
    let given = Given { p2o5: Some("1".into()), ground: Some("frozen".into()), ..nitrogen("0.4") };
    let (message, hint) = hint("us-wa", "2026-05-15", &given, "us-wa.ground");
    assert!(message.contains("no P2O5 may go down on ground that is frozen"), "{message}");
    assert_eq!(hint, "Come back when the ground has changed, or take a product without phosphorus.");
}
