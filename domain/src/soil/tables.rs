//! The tables that were read, whole as far as they were printed. What was not printed is not filled in.

use super::{
    SoilCategory,
    table::{Advice, Band, Extractant, Printed, SoilNutrient, SoilTable, SoilUnit},
};
use crate::explain::SourceMark;

/// No upper end.
const UP: i64 = i64::MAX;

/// A line in whole units, of which numbers are kept in thousandths.
const fn band(from: i64, to: i64, class: &'static str, category: Option<SoilCategory>, advice: Advice) -> Band {
    Band { from: from * 1_000, to: if to == UP { UP } else { to * 1_000 }, class, category, advice }
}

const fn five(very_low: i64, low: i64, medium: i64, high: i64) -> [Band; 5] {
    use SoilCategory::{Excessive, Low, Medium, Optimum, VeryLow};
    [
        band(0, very_low, "very low", Some(VeryLow), Advice::NotSaid),
        band(very_low + 1, low, "low", Some(Low), Advice::NotSaid),
        band(low + 1, medium, "medium", Some(Medium), Advice::NotSaid),
        band(medium + 1, high, "high (optimum)", Some(Optimum), Advice::NotSaid),
        band(high + 1, UP, "very high (excessive)", Some(Excessive), Advice::NotSaid),
    ]
}

const fn four(low: i64, medium: i64, high: i64) -> [Band; 4] {
    use SoilCategory::{Excessive, High, Low, Medium};
    [
        band(0, low, "low", Some(Low), Advice::NotSaid),
        band(low + 1, medium, "medium", Some(Medium), Advice::NotSaid),
        band(medium + 1, high, "high", Some(High), Advice::NotSaid),
        band(high + 1, UP, "very high", Some(Excessive), Advice::NotSaid),
    ]
}

const fn three(low: i64, medium: i64) -> [Band; 3] {
    use SoilCategory::{High, Low, Medium};
    [
        band(0, low, "low", Some(Low), Advice::NotSaid),
        band(low + 1, medium, "medium", Some(Medium), Advice::NotSaid),
        band(medium + 1, UP, "high", Some(High), Advice::NotSaid),
    ]
}

/// Below, within and above a printed optimum. The line between low and very low was not printed, so below it there is no
/// category.
const fn optimum(from: i64, to: i64) -> [Band; 3] {
    [
        Band {
            from: 0,
            to: from * 1_000 - 1,
            class: "below optimum (very low or low)",
            category: None,
            advice: Advice::NotSaid,
        },
        band(from, to, "optimum", Some(SoilCategory::Optimum), Advice::NotSaid),
        Band {
            from: to * 1_000 + 1,
            to: UP,
            class: "above optimum",
            category: Some(SoilCategory::High),
            advice: Advice::NotSaid,
        },
    ]
}

/// A single point: at or below it the source advises, above it not. No category follows.
const fn stop(last: i64, at_or_below: &'static str, advice: Advice, above: &'static str) -> [Band; 2] {
    [
        Band { from: 0, to: last, class: at_or_below, category: None, advice },
        Band { from: last + 1, to: UP, class: above, category: None, advice: Advice::None },
    ]
}

const RUTGERS: &str = "Rutgers NJAES Soil Testing Laboratory, Relative Levels of Nutrients";
const GEORGIA: &str = "University of Georgia AESL, crop sheets 792, BCM and 772";
const UMASS: &str = "University of Massachusetts, sample soil test report, read in a copy";

const fn printed(
    table: SoilTable,
    nutrient: SoilNutrient,
    extractant: Extractant,
    unit: SoilUnit,
    bands: &'static [Band],
    source: &'static str,
    mark: SourceMark,
) -> Printed {
    Printed { table, nutrient, extractant, unit, bands, source, mark }
}

const fn rutgers(nutrient: SoilNutrient, bands: &'static [Band]) -> Printed {
    printed(SoilTable::Rutgers, nutrient, Extractant::Mehlich3, SoilUnit::LbPerAcre, bands, RUTGERS, SourceMark::Read)
}

const fn georgia(table: SoilTable, nutrient: SoilNutrient, bands: &'static [Band]) -> Printed {
    printed(table, nutrient, Extractant::Mehlich1, SoilUnit::LbPerAcre, bands, GEORGIA, SourceMark::Read)
}

const fn umass(nutrient: SoilNutrient, bands: &'static [Band]) -> Printed {
    let (table, extractant) = (SoilTable::Massachusetts, Extractant::ModifiedMorgan);
    printed(table, nutrient, extractant, SoilUnit::Ppm, bands, UMASS, SourceMark::Read2)
}

use SoilNutrient::{Calcium, Magnesium, Phosphorus, Potassium};
use SoilTable::{GeorgiaCoastalPlain as Coastal, GeorgiaPiedmont as Piedmont};

pub(super) const PRINTED: &[Printed] = &[
    rutgers(Phosphorus, &five(24, 45, 71, 137)),
    rutgers(Potassium, &five(40, 81, 145, 277)),
    rutgers(Magnesium, &five(45, 83, 143, 295)),
    rutgers(Calcium, &five(615, 1_007, 1_400, 1_790)),
    georgia(Coastal, Phosphorus, &four(30, 60, 100)),
    georgia(Piedmont, Phosphorus, &four(20, 40, 75)),
    georgia(Coastal, Potassium, &four(60, 150, 250)),
    georgia(Piedmont, Potassium, &four(100, 200, 350)),
    georgia(Coastal, Magnesium, &three(30, 60)),
    georgia(Piedmont, Magnesium, &three(60, 120)),
    umass(Phosphorus, &optimum(4, 14)),
    umass(Potassium, &optimum(100, 160)),
    umass(Calcium, &optimum(1_000, 1_500)),
    umass(Magnesium, &optimum(50, 120)),
    printed(
        SoilTable::PennStateHomeLawn,
        Phosphorus,
        Extractant::Mehlich3,
        SoilUnit::Ppm,
        &[
            band(0, 45, "phosphorus recommended", None, Advice::Add),
            Band {
                from: 45_001,
                to: 200_000,
                class: "no phosphorus recommended",
                category: None,
                advice: Advice::None,
            },
            Band {
                from: 200_001,
                to: UP,
                class: "environmental concern",
                category: Some(SoilCategory::Excessive),
                advice: Advice::None,
            },
        ],
        "Landschoot and Wolf, abstract (2011): Penn State home lawns, 45 ppm or below; above 200 ppm concern",
        SourceMark::Read,
    ),
    printed(
        SoilTable::PennStatePuttingGreen,
        Phosphorus,
        Extractant::Mehlich3,
        SoilUnit::Ppm,
        &stop(89_999, "phosphorus recommended", Advice::Add, "no phosphorus recommended"),
        "Woods, Soil Test Phosphorus in Turf Soils: 2 Datasets (2015): Penn State putting greens below 90 ppm",
        SourceMark::Read2,
    ),
    printed(
        SoilTable::WashingtonTurf,
        Phosphorus,
        Extractant::BrayP1,
        SoilUnit::Ppm,
        &stop(25_000, "may need phosphorus", Advice::MayNeed, "unlikely to gain from phosphorus"),
        "Washington State, Phosphorus and Home Lawns, read in a copy: Bray P1 for soil of pH 7 or less",
        SourceMark::Read2,
    ),
    printed(
        SoilTable::WashingtonTurf,
        Phosphorus,
        Extractant::Olsen,
        SoilUnit::Ppm,
        &stop(18_000, "may need phosphorus", Advice::MayNeed, "unlikely to gain from phosphorus"),
        "Washington State, Phosphorus and Home Lawns, read in a copy: Olsen for soil above pH 7",
        SourceMark::Read2,
    ),
    printed(
        SoilTable::Cornell,
        Phosphorus,
        Extractant::Morgan,
        SoilUnit::Ppm,
        &[
            Band { from: 0, to: 4_499, class: "low or medium", category: None, advice: Advice::Add },
            Band { from: 4_500, to: 20_000, class: "above medium", category: None, advice: Advice::None },
            Band {
                from: 20_001,
                to: UP,
                class: "very high",
                category: Some(SoilCategory::Excessive),
                advice: Advice::None,
            },
        ],
        "Soldat, Petrovic and Rao, abstract (2005): below 4.5 mg/kg Morgan is recommended phosphorus, over 20 is very high",
        SourceMark::Read,
    ),
    printed(
        SoilTable::Oklahoma,
        Phosphorus,
        Extractant::Mehlich3,
        SoilUnit::Index,
        &stop(64_999, "may need phosphorus", Advice::MayNeed, "enough phosphorus"),
        "Oklahoma extension agent, newspaper column: full at an index of 65",
        SourceMark::Read2,
    ),
    printed(
        SoilTable::Oklahoma,
        Potassium,
        Extractant::Mehlich3,
        SoilUnit::Index,
        &stop(249_999, "may need potassium", Advice::MayNeed, "enough potassium"),
        "Oklahoma extension agent, newspaper column: full at an index of 250",
        SourceMark::Read2,
    ),
    printed(
        SoilTable::NorthernIreland,
        Phosphorus,
        Extractant::Olsen,
        SoilUnit::MgPerLiter,
        &[
            band(0, 9, "index 0", None, Advice::NotSaid),
            band(10, 15, "index 1", None, Advice::NotSaid),
            band(16, 20, "index 2-", None, Advice::NotSaid),
            band(21, 25, "index 2+", None, Advice::NotSaid),
            band(26, 45, "index 3", None, Advice::NotSaid),
            band(46, 70, "index 4", None, Advice::NotSaid),
        ],
        "Northern Ireland S.R. 2019/81, schedule 5 paragraph 10, Olsen P of grassland",
        SourceMark::Read,
    ),
    printed(
        SoilTable::FieldCrops,
        Phosphorus,
        Extractant::BrayP1,
        SoilUnit::Ppm,
        &[
            band(0, 15, "low", Some(SoilCategory::Low), Advice::NotSaid),
            band(15, 24, "optimum", Some(SoilCategory::Optimum), Advice::NotSaid),
            band(24, 31, "high", Some(SoilCategory::High), Advice::NotSaid),
            Band {
                from: 31_001,
                to: UP,
                class: "very high",
                category: Some(SoilCategory::Excessive),
                advice: Advice::NotSaid,
            },
        ],
        "SARE, Building Soils for Better Crops, Soil Testing for P: field crops",
        SourceMark::Read,
    ),
];
