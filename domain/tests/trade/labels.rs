//! Labels: C67 to C72, C92, the classes of release, and what a stored label must go on meaning.

use domain::product::{
    Label,
    arithmetic::ReleaseClass,
    epa::{EpaFault, EpaRegistration},
    guarantee::{Element, Metal},
    pesticide::{PesticidePart, SignalWord},
    printed::{FurtherNutrient, NetContents, NitrogenForms, PrintedLabel},
    printed_check::{PrintedFault, least_insoluble_rounded_up},
};

use super::{amount, label};

fn slow(nitrogen: &str, slow: &str) -> Label {
    Label { slow_nitrogen_percent: amount(slow), ..label(nitrogen, "0", "0") }
}

fn printed(mut label: Label, printed: PrintedLabel) -> Label {
    label.printed = Some(Box::new(printed));
    label
}

#[test]
fn c67_c68_organic_nitrogen_is_mostly_insoluble() {
    // Montana's fertilizer rule, read: 10-6-4 with a quarter of its nitrogen called organic asks for 1.5 % water-insoluble;
    // Washington, WAC 16-200-721, read: 2.5 % organic asks for 1.5 %. Exact.
    assert_eq!(least_insoluble_rounded_up(amount("2.5")).to_string(), "1.5");
    let with = |insoluble: &str| {
        let forms = NitrogenForms {
            urea_percent: amount("7"),
            water_insoluble_percent: amount(insoluble),
            ..Default::default()
        };
        let rest = PrintedLabel {
            nitrogen_forms: Some(forms),
            organic_nitrogen_percent: Some(amount("2.5")),
            ..Default::default()
        };
        printed(slow("10", insoluble), rest).remarks().len()
    };
    assert_eq!((with("1.5"), with("1.49")), (0, 1));
}

#[test]
fn c69_slow_wording_needs_fifteen_in_a_hundred() {
    // 7 Pa. Code § 73.6, read; values computed: 1.4 of 10 % is too little to be called slow, 1.5 is enough.
    let claims = PrintedLabel { claims_slow_release: true, ..Default::default() };
    let remarks = |part: &str| printed(slow("10", part), claims.clone()).remarks().len();
    assert_eq!((remarks("1.4"), remarks("1.5")), (1, 0));
    assert!(!slow("10", "1.49").may_be_called_slow() && slow("10", "1.5").may_be_called_slow());
    assert!(!slow("0", "0").may_be_called_slow());
}

#[test]
fn c70_metals_follow_the_phosphate() {
    // Model rule of the control officials, in Maine's rule 350, read; values computed: cadmium at 4 % P2O5 counts as 6 %,
    // 60 ppm; at 20 % 200 ppm; lead at 20 % 1,220 ppm.
    let none = amount("0");
    assert_eq!(Metal::Cadmium.limit_ppm(amount("4"), none), Some(60));
    assert_eq!(Metal::Cadmium.limit_ppm(amount("20"), none), Some(200));
    assert_eq!(Metal::Lead.limit_ppm(amount("20"), none), Some(1_220));
    // With both guarantees the higher figure holds: 2 % micronutrients allow 166 ppm cadmium.
    assert_eq!(Metal::Cadmium.limit_ppm(amount("4"), amount("2")), Some(166));
    assert_eq!(Metal::Mercury.limit_ppm(none, none), None);
}

#[test]
fn c71_allowance_below_a_guarantee() {
    // New Hampshire fertilizer rules, read; values computed: iron 2 % may be 0.205 below, calcium 18 % 1.1 capped at 1.
    assert_eq!(Element::Iron.allowance_below(amount("2")), 2_050);
    assert_eq!(Element::Calcium.allowance_below(amount("18")), 10_000);
    assert_eq!(Element::Molybdenum.allowance_below(amount("0.01")), 31);
}

#[test]
fn c72_registration_numbers() {
    // EPA Label Review Manual, chapter 14, and California DPR, read for the form; examples computed.
    let read = |text: &str| text.parse::<EpaRegistration>().map(|number| number.to_string());
    assert_eq!(read("6767-230").as_deref(), Ok("6767-230"));
    assert_eq!(read("100-1234-5678").as_deref(), Ok("100-1234-5678"));
    assert_eq!(read("6767-EGN"), Err(EpaFault::FileSymbol));
    for text in ["1234567890-1", "", "6767", "6767-", "6767-123456", "1-2-3-4", "6767-23O", " 6767-230"] {
        assert_eq!(read(text), Err(EpaFault::NotANumber), "{text:?}");
    }
}

#[test]
fn c92_slow_share_and_release_class() {
    // Florida, Duval County, read in a copy: 7 of 15 % is 46.67 % slow (46.667 exact; ours is rounded down), above a floor
    // of 30 %, below one of 50 %.
    let share = slow("15", "7").slow_share().expect("nitrogen");
    assert_eq!(share.to_string(), "46.66");
    assert!(share >= amount("30") && share < amount("50"));
    // Cornell Cooperative Extension Suffolk, read in a copy: quick below 0.15, moderate to 0.29, slow above.
    let class = |part: &str| ReleaseClass::of(&slow("10", part)).expect("nitrogen");
    assert_eq!((class("1.49"), class("1.5")), (ReleaseClass::Quick, ReleaseClass::Moderate));
    assert_eq!((class("2.9"), class("2.91")), (ReleaseClass::Moderate, ReleaseClass::Slow));
    assert_eq!(ReleaseClass::of(&slow("0", "0")), None);
}

#[test]
fn the_forms_add_up_or_the_label_was_copied_wrongly() {
    // Every form is a part of total nitrogen (order of a guaranteed analysis, Clemson, Reading a Fertilizer Label). Coated
    // nitrogen is slow without being water-insoluble (UC IPM, Nitrogen Fertilizers for Turf).
    let forms = NitrogenForms {
        ammoniacal_percent: amount("1.5"),
        urea_percent: amount("12.5"),
        water_insoluble_percent: amount("2"),
        coated_slow_release_percent: amount("8"),
        ..Default::default()
    };
    let with = |nitrogen: &str, part: &str| {
        let rest = PrintedLabel { nitrogen_forms: Some(forms), ..Default::default() };
        printed(slow(nitrogen, part), rest).printed_faults()
    };
    assert_eq!(with("24", "10"), []);
    assert_eq!(with("24", "2"), [PrintedFault::SlowFormsDoNotAddUp { sum: amount("10"), slow: amount("2") }]);
    assert_eq!(with("25", "10"), [PrintedFault::FormsDoNotAddUp { sum: amount("24"), total: amount("25") }]);
}

#[test]
fn other_lines_are_checked() {
    let iron = FurtherNutrient { element: Element::Iron, percent: amount("5") };
    let twice = PrintedLabel { further_nutrients: vec![iron, iron], ..Default::default() };
    assert_eq!(
        printed(label("10", "0", "0"), twice).printed_faults(),
        [PrintedFault::ElementTwice { element: "iron" }]
    );
    let heavy = PrintedLabel { further_nutrients: vec![iron], ..Default::default() };
    assert_eq!(printed(label("46", "20", "30"), heavy).printed_faults(), [PrintedFault::GuaranteesAboveWhole]);
    let jug = PrintedLabel { net_contents: Some(NetContents::Volume(amount("2.5"))), ..Default::default() };
    assert_eq!(printed(label("18", "3", "6"), jug.clone()).printed_faults(), [PrintedFault::NoDensity]);
    let with_density = PrintedLabel { density_lb_per_gal: Some(amount("10.58")), ..jug };
    let liquid = printed(label("18", "3", "6"), with_density);
    assert_eq!((liquid.printed_faults(), liquid.density()), (vec![], Some(amount("10.58"))));
    // Organic nitrogen is a part of all nitrogen, by definition.
    let organic = |percent: &str| {
        let rest = PrintedLabel { organic_nitrogen_percent: Some(amount(percent)), ..Default::default() };
        printed(label("10", "0", "0"), rest).printed_faults()
    };
    assert_eq!(organic("10"), []);
    assert_eq!(organic("10.01"), [PrintedFault::OrganicAboveTotal { organic: amount("10.01"), total: amount("10") }]);
    let turned = PrintedLabel {
        watering_in_at_least_in: Some(amount("0.5")),
        watering_in_at_most_in: Some(amount("0.25")),
        ..Default::default()
    };
    assert_eq!(printed(label("10", "0", "0"), turned).printed_faults(), [PrintedFault::WateringInTurned]);
}

#[test]
fn contents_weigh_what_the_package_weighs() {
    // By the definition of density: 2.5 gal of 10.58 lb are 26.45 lb; a label that rounds them stays within 1 % (common
    // practice). A weight is copied to the digit.
    let jug = PrintedLabel {
        net_contents: Some(NetContents::Volume(amount("2.5"))),
        density_lb_per_gal: Some(amount("10.58")),
        ..Default::default()
    };
    let jug = printed(label("18", "3", "6"), jug);
    let wrong = |label: &Label, net: &str| label.contents_fault(amount(net)).is_some();
    assert_eq!(["26.45", "26.5", "26.7", "26.8", "50"].map(|net| wrong(&jug, net)), [false, false, false, true, true]);
    let bag = PrintedLabel { net_contents: Some(NetContents::Weight(amount("50"))), ..Default::default() };
    let bag = printed(label("24", "0", "10"), bag);
    assert_eq!(["50", "50.000001", "49"].map(|net| wrong(&bag, net)), [false, true, true]);
    assert!(!wrong(&label("24", "0", "10"), "50"));
}

#[test]
fn what_is_stored_now_is_read_and_written_unchanged() {
    let stored = r#"{"form":"granular","nitrogen_percent":"24","slow_nitrogen_percent":"7.2","phosphate_percent":"0","potash_percent":"10","enhanced_efficiency":false,"release_percent_per_month":null,"organic":false,"compost":false,"labelled_for_establishment":false,"product_limit_lb_per_1000_sqft":null,"air_temperature_limit_f":null}"#;
    let label: Label = serde_json::from_str(stored).expect("a stored label");
    assert_eq!(serde_json::to_string(&label).expect("JSON"), stored);
    let part = PesticidePart {
        signal_word: Some(SignalWord::Caution),
        active_ingredients: Some("an herbicide".to_owned()),
        ..crate::combination::pesticide("6767-230")
    };
    let full = printed(label, PrintedLabel { pesticide: Some(part), ..Default::default() });
    let text = serde_json::to_string(&full).expect("JSON");
    assert_eq!(serde_json::from_str::<Label>(&text).expect("a label"), full);
    assert!(serde_json::from_str::<Label>(&text.replace("signal_word", "signal_words")).is_err());
}
