//! Soil numbers: C45 to C49, C51 to C54, C109, C111 to C114, C133, C135 to C137, and the sample. The other published
//! relation between extractants (C110) disagrees with the one here and is not used; a ratio of nutrients (C119) is worked out
//! nowhere.

use domain::{
    quantity::SoilReading,
    soil::{
        SoilCategory,
        interpret::{
            Interpretation, SoilFault, SoilValue, bray_from_mehlich_3_rounded_down, interpret, manganese_index_tenths,
        },
        need::{NeededElement, above_supply_rounded_down, pounds_of_grams_rounded_down, sustained_need},
        potash_phosphate::{NoEquation, Recommendation, north_carolina_rounded_down, recommend},
        sample::{SamplingAdvice, SoilSample},
        table::{Advice, Extractant, SoilBasis, SoilNutrient, SoilTable, SoilUnit},
    },
};

use super::{amount, close, near};
use crate::facts::day;

type Case = (SoilTable, SoilNutrient, Extractant, SoilUnit);

fn read((table, nutrient, extractant, unit): Case, reading: &str) -> Result<Interpretation, SoilFault> {
    let basis = SoilBasis::Element;
    interpret(&SoilValue { nutrient, reading: amount(reading), extractant: Some(extractant), unit, basis }, table)
}

#[track_caller]
fn classes(case: Case, expected: &[(&str, &str)]) {
    for (reading, class) in expected {
        assert_eq!(read(case, reading).expect("a table").class, *class, "{reading}");
    }
}

const RUTGERS_P: Case = (SoilTable::Rutgers, SoilNutrient::Phosphorus, Extractant::Mehlich3, SoilUnit::LbPerAcre);

#[test]
fn c45_c46_rutgers() {
    // Rutgers NJAES, Relative Levels of Nutrients, read; ends exact.
    let words =
        ["very low", "low", "low", "medium", "medium", "high (optimum)", "high (optimum)", "very high (excessive)"];
    let phosphorus = ["24", "25", "45", "46", "71", "72", "137", "138"];
    let potassium = ["40", "41", "81", "82", "145", "146", "277", "278"];
    classes(RUTGERS_P, &phosphorus.into_iter().zip(words).collect::<Vec<_>>());
    let case = (SoilTable::Rutgers, SoilNutrient::Potassium, Extractant::Mehlich3, SoilUnit::LbPerAcre);
    classes(case, &potassium.into_iter().zip(words).collect::<Vec<_>>());
    // Between two printed classes the higher counts: our rule, as the table is silent.
    classes(RUTGERS_P, &[("24.001", "low"), ("137.5", "very high (excessive)")]);
    assert_eq!(read(RUTGERS_P, "72").expect("a table").category, Some(SoilCategory::Optimum));
}

#[test]
fn c47_manganese() {
    // Rutgers, formula read; value computed: 20 ppm at pH 6.5 is 101.7 + 75 - 98.8 = 77.9.
    assert_eq!(manganese_index_tenths(amount("20"), amount("6.5")), 779);
}

#[test]
fn c48_c49_georgia() {
    // University of Georgia AESL, crop sheet 792, read; ends exact.
    let words = ["low", "medium", "medium", "high", "high", "very high"];
    let tables = [
        (SoilTable::GeorgiaCoastalPlain, SoilNutrient::Phosphorus, ["30", "31", "60", "61", "100", "101"]),
        (SoilTable::GeorgiaPiedmont, SoilNutrient::Phosphorus, ["20", "21", "40", "41", "75", "76"]),
        (SoilTable::GeorgiaPiedmont, SoilNutrient::Potassium, ["100", "101", "200", "201", "350", "351"]),
        (SoilTable::GeorgiaCoastalPlain, SoilNutrient::Potassium, ["60", "61", "150", "151", "250", "251"]),
    ];
    for (table, nutrient, ends) in tables {
        let case = (table, nutrient, Extractant::Mehlich1, SoilUnit::LbPerAcre);
        classes(case, &ends.into_iter().zip(words).collect::<Vec<_>>());
    }
}

#[test]
fn a_number_is_read_with_its_own_table_or_not_at_all() {
    // Florida, Soil Testing (HS1229), read: a value without its extractant is meaningless.
    let (nutrient, unit) = (SoilNutrient::Phosphorus, SoilUnit::LbPerAcre);
    let value = SoilValue { nutrient, reading: amount("30"), extractant: None, unit, basis: SoilBasis::Element };
    assert_eq!(interpret(&value, SoilTable::Rutgers), Err(SoilFault::NoExtractant));
    let oxide = SoilValue { extractant: Some(Extractant::Mehlich3), basis: SoilBasis::Oxide, ..value };
    assert_eq!(interpret(&oxide, SoilTable::Rutgers), Err(SoilFault::OtherBasis));
    let others = [
        (Extractant::BrayP1, SoilUnit::LbPerAcre),
        (Extractant::Mehlich3, SoilUnit::Ppm),
        (Extractant::OtherStated, SoilUnit::LbPerAcre),
    ];
    for (extractant, unit) in others {
        let refused = read((SoilTable::Rutgers, nutrient, extractant, unit), "30");
        assert_eq!(refused, Err(SoilFault::NoTable { extractant: extractant.label() }));
    }
    // UMass did not print the line between very low and low, so there is no category below the optimum.
    let umass = (SoilTable::Massachusetts, nutrient, Extractant::ModifiedMorgan, SoilUnit::Ppm);
    assert_eq!(read(umass, "3.9").expect("a table").category, None);
    classes(umass, &[("4", "optimum"), ("14", "optimum"), ("14.1", "above optimum")]);
}

#[test]
fn c53_c133_c135_c136_where_advice_stops() {
    let advice = |case: Case, reading: &str| read(case, reading).expect("a table").advice;
    let phosphorus = |table, extractant, unit| (table, SoilNutrient::Phosphorus, extractant, unit);
    // Landschoot and Wolf (2011), read: 45 ppm gets a recommendation, 46 does not.
    let lawn = phosphorus(SoilTable::PennStateHomeLawn, Extractant::Mehlich3, SoilUnit::Ppm);
    assert_eq!((advice(lawn, "45"), advice(lawn, "46")), (Advice::Add, Advice::None));
    assert_eq!(read(lawn, "201").expect("a table").category, Some(SoilCategory::Excessive));
    // Oklahoma extension agent, read in a copy; values computed.
    let oklahoma = phosphorus(SoilTable::Oklahoma, Extractant::Mehlich3, SoilUnit::Index);
    assert_eq!((advice(oklahoma, "64"), advice(oklahoma, "66")), (Advice::MayNeed, Advice::None));
    let potassium = (SoilTable::Oklahoma, SoilNutrient::Potassium, Extractant::Mehlich3, SoilUnit::Index);
    assert_eq!(advice(potassium, "251"), Advice::None);
    // Washington State, Phosphorus and Home Lawns, read in a copy; values computed.
    let bray = phosphorus(SoilTable::WashingtonTurf, Extractant::BrayP1, SoilUnit::Ppm);
    let olsen = phosphorus(SoilTable::WashingtonTurf, Extractant::Olsen, SoilUnit::Ppm);
    assert_eq!((advice(bray, "25"), advice(bray, "26")), (Advice::MayNeed, Advice::None));
    assert_eq!((advice(olsen, "18"), advice(olsen, "19")), (Advice::MayNeed, Advice::None));
    // Soldat, Petrovic and Rao (2005), read; values computed.
    let morgan = phosphorus(SoilTable::Cornell, Extractant::Morgan, SoilUnit::Ppm);
    assert_eq!((advice(morgan, "4.4"), advice(morgan, "4.6")), (Advice::Add, Advice::None));
    classes(morgan, &[("20.1", "very high")]);
}

#[test]
fn c114_c137_class_tables_that_are_not_for_lawns() {
    // Northern Ireland S.R. 2019/81, read; exact.
    let olsen = (SoilTable::NorthernIreland, SoilNutrient::Phosphorus, Extractant::Olsen, SoilUnit::MgPerLiter);
    let expected = [("9", "index 0"), ("10", "index 1"), ("15", "index 1"), ("16", "index 2-"), ("20", "index 2-")];
    classes(olsen, &expected);
    classes(olsen, &[("21", "index 2+"), ("25", "index 2+"), ("26", "index 3"), ("45", "index 3"), ("46", "index 4")]);
    classes(olsen, &[("70", "index 4")]);
    assert!(read(olsen, "71").is_err(), "the table ends at 70");
    // SARE, Building Soils for Better Crops, read: inside the classes only, as their ends are printed twice.
    let crops = (SoilTable::FieldCrops, SoilNutrient::Phosphorus, Extractant::BrayP1, SoilUnit::Ppm);
    classes(crops, &[("14", "low"), ("20", "optimum"), ("28", "high"), ("32", "very high")]);
}

fn north_carolina(number: usize, index: &str) -> String {
    match north_carolina_rounded_down(number, amount(index)).expect("an equation") {
        Recommendation::Published { rate_lb_per_1000_sqft, .. } => rate_lb_per_1000_sqft.to_string(),
        Recommendation::NoneNeeded { .. } => "0".to_owned(),
        other => panic!("{other:?}"),
    }
}

#[test]
fn c51_c52_north_carolina_equations() {
    // NCDA&CS Circular 1 (2014), Table 2.4, read; values computed, exact.
    for (number, rate) in [(21, "7.25"), (23, "3.5"), (24, "1.75"), (25, "1.25")] {
        assert_eq!(north_carolina(number, "50"), rate, "equation {number}");
    }
    assert_eq!((north_carolina(25, "0").as_str(), north_carolina(25, "75").as_str()), ("6.5", "0"));
    // Past the lowest point a quadratic turns up again: equation 21 has it at 131.
    assert_eq!((north_carolina(21, "140").as_str(), north_carolina(21, "400").as_str()), ("0", "0"));
    // Equation 1 at 0 is 900 lb on the acre, 20.661157 lb on 1,000 sq ft (computed).
    assert_eq!(north_carolina(1, "0"), "20.661157");
    assert_eq!(north_carolina_rounded_down(0, SoilReading::ZERO), Err(NoEquation));
    assert_eq!(north_carolina_rounded_down(26, SoilReading::ZERO), Err(NoEquation));
}

#[test]
fn c54_c113_the_laboratory_s_own_figure_counts() {
    // Michigan State home lawn report, read: 13 ppm P and 87 ppm K, and 0.7 lb P2O5 and 1.3 lb K2O recommended. No table of
    // that laboratory was read.
    let low = read(RUTGERS_P, "30").expect("a table");
    let entered = recommend(Some(amount("0.7")), &low);
    assert_eq!(entered, Recommendation::FromReport { rate_lb_per_1000_sqft: amount("0.7") });
    assert_eq!(
        recommend(Some(amount("1.3")), &low),
        Recommendation::FromReport { rate_lb_per_1000_sqft: amount("1.3") }
    );
    assert_eq!(recommend(None, &low), Recommendation::SeeLaboratory { class: "low".to_owned() });
    let full =
        read((SoilTable::PennStateHomeLawn, SoilNutrient::Phosphorus, Extractant::Mehlich3, SoilUnit::Ppm), "60");
    assert!(matches!(recommend(None, &full.expect("a table")), Recommendation::NoneNeeded { .. }));
    // Purdue, quoted; computed: 6, 2 and 2 lb of 0-0-60 are 3.6, 1.2 and 1.2 lb K2O, 6.0 in three years.
    let potash = |pounds: &str| super::label("0", "0", "60").nutrients_in(amount(pounds)).potash_lb;
    near(potash("6"), "3.6", "0");
    near(potash("2"), "1.2", "0");
    near(potash("10"), "6", "0");
}

#[test]
fn c109_between_extractants_only_when_asked() {
    // Ohio State, read: 22 ppm Mehlich-3 is Bray 10 (10.224 exact; tolerance 0.5), and never below zero.
    near(bray_from_mehlich_3_rounded_down(amount("22")), "10", "0.5");
    near(bray_from_mehlich_3_rounded_down(amount("22")), "10.224", "0");
    assert_eq!(bray_from_mehlich_3_rounded_down(amount("9.7")), SoilReading::ZERO);
}

#[test]
fn c111_c112_need_beyond_the_soil() {
    // Woods, Working Out the Fertilizer Recommendation from a Soil Test (2014), read: 5.2 + 12.5 - 11 = 6.7 g K on the square
    // meter; computed: 1.37 lb K and 1.65 lb K2O on 1,000 sq ft. With 20 g in the soil nothing.
    let need = sustained_need(5_200, 12_500, 11_000);
    assert_eq!((need, sustained_need(5_200, 12_500, 20_000)), (6_700, 0));
    let potassium = pounds_of_grams_rounded_down(need);
    close(potassium, 1_370_000, 5_000);
    near(NeededElement::Potassium.oxide_rounded_down(potassium), "1.65", "0.005");
    // Texas A&M, Turfgrass Fertilization, read: bermudagrass of 2.5 lb P and 7.7 lb K; 10 ppm P needs 2 lb P more, 120 ppm K
    // 2.2 lb K, 175 ppm K none; tolerance 0.1. Computed: 4.6 lb P2O5, 2.65 lb K2O.
    let more = |element, total: &str, ppm: &str| above_supply_rounded_down(element, amount(total), amount(ppm)).value;
    let phosphorus = more(NeededElement::Phosphorus, "2.5", "10");
    near(phosphorus, "2", "0.1");
    near(NeededElement::Phosphorus.oxide_rounded_down(phosphorus.raw()), "4.6", "0.1");
    let potassium = more(NeededElement::Potassium, "7.7", "120");
    near(potassium, "2.2", "0.1");
    // 2.65 was reckoned from the printed 2.2; exactly 2.6385.
    near(NeededElement::Potassium.oxide_rounded_down(potassium.raw()), "2.65", "0.015");
    near(more(NeededElement::Potassium, "7.7", "175"), "0", "0");
}

#[test]
fn few_cores_and_odd_depths_are_cautions() {
    // Missouri G6954, read: 12 cores or more, 4 in established, 6 in before seeding. Pennsylvania, read in a copy: 2 to 3 in.
    let sample = |cores, depth: Option<&str>| SoilSample {
        sampled_on: day("2026-08-20"),
        cores,
        depth_in: depth.map(amount),
        tool: None,
        before_planting: false,
    };
    let count = |sample: SoilSample, advice| sample.cautions(advice).len();
    assert_eq!(count(sample(Some(12), Some("4")), SamplingAdvice::Missouri), 0);
    assert_eq!(count(sample(Some(11), Some("3")), SamplingAdvice::Missouri), 2);
    assert_eq!(count(sample(Some(12), Some("4")), SamplingAdvice::Pennsylvania), 1);
    assert_eq!(count(sample(None, None), SamplingAdvice::Any), 2);
    assert_eq!(count(sample(Some(9), Some("4")), SamplingAdvice::Any), 1);
    assert_eq!(count(sample(Some(10), Some("4")), SamplingAdvice::Any), 0);
    let seedbed = SoilSample { before_planting: true, ..sample(Some(12), Some("6")) };
    assert_eq!(count(seedbed, SamplingAdvice::Missouri), 0);
}
