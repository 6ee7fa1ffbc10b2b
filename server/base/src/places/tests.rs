use super::*;

fn codes(latitude: f64, longitude: f64) -> (Option<String>, Option<String>) {
    let found = counties::find(latitude, longitude);
    (found.as_ref().map(|found| found.within.state.code()), found.and_then(|found| found.within.code()))
}

/// Towns and their counties as `GeoNames` lists them (CC BY 4.0), which is another source than the boundaries'. Texarkana, Kansas
/// City and Bristol lie at a border, with a namesake across it; Fairfax, Roanoke, Richmond, Franklin, Baltimore and Saint Louis
/// are cities beside a county of their name.
#[test]
fn a_town_is_put_into_its_county() {
    for (town, latitude, longitude, code) in [
        ("Annapolis", 38.97845, -76.49218, "us-md-anne-arundel"),
        ("Upper Marlboro", 38.81595, -76.74969, "us-md-prince-georges"),
        ("Lexington Park", 38.26679, -76.45384, "us-md-st-marys"),
        ("Harrisburg", 40.2737, -76.88442, "us-pa-dauphin"),
        ("Riverhead", 40.91704, -72.66204, "us-ny-suffolk"),
        ("Staten Island", 40.56233, -74.13986, "us-ny-richmond"),
        ("Clearwater", 27.96585, -82.8001, "us-fl-pinellas"),
        ("Key West", 24.5557, -81.78259, "us-fl-monroe"),
        ("Madison", 43.07305, -89.40123, "us-wi-dane"),
        ("New Orleans", 29.95465, -90.07507, "us-la-orleans"),
        ("Las Cruces", 32.31232, -106.77834, "us-nm-dona-ana"),
        ("Nantucket", 41.28346, -70.09946, "us-ma-nantucket"),
        ("Delmar", 38.45595, -75.57742, "us-md-wicomico"),
        ("Texarkana", 33.42513, -94.04769, "us-tx-bowie"),
        ("Texarkana", 33.44179, -94.03769, "us-ar-miller"),
        ("Kansas City", 39.11417, -94.62746, "us-ks-wyandotte"),
        ("Kansas City", 39.09973, -94.57857, "us-mo-jackson"),
        ("Bristol", 36.59649, -82.18847, "us-va-bristol-city"),
        ("Bristol", 36.59511, -82.18874, "us-tn-sullivan"),
        ("Fairfax", 38.84622, -77.30637, "us-va-fairfax-city"),
        ("Burke", 38.79345, -77.27165, "us-va-fairfax"),
        ("Roanoke", 37.27097, -79.94143, "us-va-roanoke-city"),
        ("Cave Spring", 37.22764, -80.01282, "us-va-roanoke"),
        ("Richmond", 37.55376, -77.46026, "us-va-richmond-city"),
        ("Warsaw", 37.95874, -76.75801, "us-va-richmond"),
        ("Franklin", 36.67765, -76.92246, "us-va-franklin-city"),
        ("Rocky Mount", 36.99764, -79.89198, "us-va-franklin"),
        ("Charles City", 37.34348, -77.07303, "us-va-charles-city"),
        ("Baltimore", 39.29038, -76.61219, "us-md-baltimore-city"),
        ("Towson", 39.4015, -76.60191, "us-md-baltimore"),
        ("Dundalk", 39.25066, -76.52052, "us-md-baltimore"),
        ("Saint Louis", 38.62727, -90.19789, "us-mo-st-louis-city"),
        ("Clayton", 38.64255, -90.32373, "us-mo-st-louis"),
        ("Carson City", 39.1638, -119.7674, "us-nv-carson-city"),
        ("Point Roberts", 48.98538, -123.07797, "us-wa-whatcom"),
        ("Honolulu", 21.30694, -157.85833, "us-hi-honolulu"),
        ("Hilo", 19.72991, -155.09073, "us-hi-hawaii"),
        ("Lihue", 21.98121, -159.3721, "us-hi-kauai"),
        ("Anchorage", 61.21806, -149.90028, "us-ak-anchorage"),
        ("Utqiagvik", 71.29058, -156.78872, "us-ak-north-slope"),
        ("Unalaska", 53.87361, -166.53667, "us-ak-aleutians-west"),
        ("Aguadilla", 18.42745, -67.15407, "us-pr-aguadilla"),
    ] {
        let (state, county) = codes(latitude, longitude);
        assert_eq!(county.as_deref(), Some(code), "{town}");
        assert_eq!(state.as_deref(), code.get(..5), "{town}");
    }
    assert_eq!(codes(38.89511, -77.03637), (Some("us-dc".to_owned()), None), "Washington");
    assert_eq!(codes(13.47567, 144.74886), (Some("us-gu".to_owned()), None), "Hagåtña");
    // Beyond the 180th meridian: Attu Island, 52°54′09″N 172°54′34″E, Aleutians West Census Area (Wikipedia, "Attu Island").
    assert_eq!(codes(52.9025, 172.909_44).1.as_deref(), Some("us-ak-aleutians-west"));
}

/// Places across the border as `GeoNames` lists them (CC BY 4.0), and plainly far ones.
#[test]
fn what_is_not_inside_is_in_no_state() {
    for (latitude, longitude) in [
        (32.5027, -117.00371),  // Tijuana
        (64.42289, -173.22641), // Provideniya, Russia, east of the 180th meridian
        (51.48, 0.0),           // Greenwich
        (30.0, -40.0),          // the Atlantic
        (-90.0, 0.0),
        (90.0, 0.0),
        (91.0, 0.0),
        (0.0, -180.0),
        (0.0, 180.0),
        (f64::NAN, f64::NAN),
        (f64::INFINITY, f64::NEG_INFINITY),
    ] {
        assert_eq!(codes(latitude, longitude), (None, None), "{latitude} {longitude}");
    }
}

/// Atlantic City, as `GeoNames` lists it (CC BY 4.0), lies on an island of which the table has a part.
#[test]
fn a_beach_belongs_to_the_nearest_county_and_the_words_say_so() {
    let law = Lawbook::embedded().unwrap_or_default();
    let beach = suggest(39.36428, -74.42293, &law);
    assert_eq!(beach.county, Some(RuleSetCode("us-nj-atlantic".to_owned())));
    assert!(beach.words.contains("0.3 miles outside of Atlantic County, New Jersey"), "{}", beach.words);
    // Three miles out on the Atlantic.
    assert_eq!(suggest(39.32, -74.40, &law).county, None);
}

#[test]
fn the_law_of_state_and_county_is_suggested_and_towns_are_to_be_confirmed() {
    let law = Lawbook::embedded().unwrap_or_default();
    let texts = |codes: &[RuleSetCode]| codes.iter().map(|code| code.0.clone()).collect::<Vec<_>>();
    let clearwater = suggest(27.97, -82.80, &law);
    assert_eq!(clearwater.county, Some(RuleSetCode("us-fl-pinellas".to_owned())));
    assert_eq!(texts(&clearwater.rule_sets), ["us-fl", "us-fl-pinellas"]);
    let local = texts(&clearwater.local_rule_sets);
    assert!(local.contains(&"us-fl-lake-mary".to_owned()), "{local:?}");
    // Other counties are not where the point lies, and neither is their law.
    assert!(
        !local.iter().any(|code| code == "us-fl-orange" || code == "us-fl-pinellas" || code == "us-fl"),
        "{local:?}"
    );
    assert!(clearwater.words.contains("Pinellas County, Florida"), "{}", clearwater.words);
    assert!(clearwater.words.contains("Lake Mary, Florida"), "{}", clearwater.words);
    // The lakes of Whatcom County are a part of it, and the western basin is a part of Ohio: no boundary here decides them.
    let bellingham = suggest(48.75955, -122.48822, &law);
    assert_eq!(texts(&bellingham.local_rule_sets), ["us-wa-bellingham-lake", "us-wa-whatcom-lakes"]);
    let toledo = suggest(41.66394, -83.55521, &law);
    assert_eq!(texts(&toledo.local_rule_sets), ["us-oh-western-basin"]);
    // Dallas as `GeoNames` has it (CC BY 4.0).
    let dallas = suggest(32.78306, -96.80667, &law);
    assert_eq!((&dallas.rule_sets, &dallas.local_rule_sets), (&Vec::new(), &Vec::new()));
    assert!(dallas.words.contains("no rule set for Texas"), "{}", dallas.words);
    assert_eq!(suggest(30.0, -40.0, &law).rule_sets, []);
}

#[test]
fn a_boundary_that_is_near_is_said() {
    let law = Lawbook::embedded().unwrap_or_default();
    // Delmar, of which one half lies in Maryland and the other in Delaware.
    let delmar = suggest(38.45595, -75.57742, &law);
    assert_eq!(delmar.counties_near, [RuleSetCode("us-de-sussex".to_owned())]);
    assert!(delmar.words.contains("Within a mile lies Sussex County, Delaware"), "{}", delmar.words);
    // Falls Church as `GeoNames` has it (CC BY 4.0): the table has no area of it, and says that it is near.
    let church = suggest(38.88233, -77.17109, &law);
    assert!(church.counties_near.contains(&RuleSetCode("us-va-falls-church-city".to_owned())), "{church:?}");
}

#[test]
fn a_code_of_another_state_is_noticed_unless_its_border_is_near() {
    let code = |text: &str| text.to_owned();
    assert_eq!(differs(38.98, -76.49, &[code("us-md")]), None);
    let told = differs(38.98, -76.49, &[code("us-pa"), code("us-md")]);
    assert!(told.is_some_and(|told| told.contains("us-pa") && told.contains("Maryland")));
    assert_eq!(differs(38.45595, -75.57742, &[code("us-de"), code("us-md-wicomico")]), None);
    assert!(differs(38.45595, -75.57742, &[code("us-va")]).is_some());
}

/// Provincetown lies in Barnstable County, whose name its largest town has as well; the town's rules are not the county's.
/// Coordinates of the town: `GeoNames` (CC BY 4.0).
#[test]
fn a_town_of_its_county_s_name_is_asked_about_and_not_taken_for_the_county() {
    let law = Lawbook::embedded().expect("law");
    let found = suggest(42.05295, -70.18640, &law);
    assert_eq!(found.county.expect("county").0, "us-ma-barnstable");
    let codes = |sets: &[RuleSetCode]| sets.iter().map(|code| code.0.clone()).collect::<Vec<_>>();
    assert_eq!(codes(&found.rule_sets), ["us-ma"]);
    assert!(codes(&found.local_rule_sets).contains(&"us-ma-barnstable".to_owned()), "{:?}", found.local_rule_sets);
}
