//! A laboratory's number on the scale that its own table prints, and an acidity on the range that a grass wants. Where no table was
//! read there is no scale: bands are printed, never guessed.

use askama::Template;
use domain::{
    quantity::{SoilPh, SoilReading},
    soil::{
        interpret::{SoilBand, SoilValue, bands},
        reading::InterpretedValue,
        table::SoilTable,
        target_ph::TargetPh,
    },
};

use super::Share;
use crate::pages::soil_reports::read::unit;

/// The picture.
#[derive(Debug, Template)]
#[template(path = "picture_soil.html")]
pub struct SoilScale {
    /// What was measured, and what it comes to.
    pub name: String,
    class: String,
    /// The number, as it stands above its place.
    label: String,
    mark: Share,
    bands: Vec<Band>,
    /// Where a band ends, and its number.
    ticks: Vec<(Share, String)>,
    words: String,
}

#[derive(Debug, PartialEq, Eq)]
struct Band {
    at: Share,
    wide: Share,
    /// The number lies in it.
    here: bool,
    /// As the table prints it.
    words: String,
}

/// The acidities between which a lawn's lies; another one moves the end.
const PH: (i64, i64) = (400, 900);

impl SoilScale {
    /// Nothing where no table of the laboratory reads the number.
    pub fn of(value: &InterpretedValue, table: SoilTable) -> Option<Self> {
        let InterpretedValue { nutrient, reading, extractant, unit: given, basis, .. } = *value;
        let class = value.interpretation.as_ref()?.class.clone();
        let asked = SoilValue { nutrient, reading, extractant: Some(extractant), unit: given, basis };
        let printed = bands(&asked, table)?;
        // Without an upper end the last band gets a quarter of the line, or what the number needs.
        let last = printed.last()?;
        let open = || (last.from.raw().saturating_mul(4) / 3).max(reading.raw().saturating_mul(10) / 9);
        let whole = last.to.map_or_else(open, SoilReading::raw).max(1);
        let at = |raw: i64| Share::of(raw, whole);
        let mut from = 0;
        let (mut drawn, mut ticks) = (Vec::new(), Vec::new());
        for band in &printed {
            // Between two lines of a table the higher counts, so a band begins where the one before it ends.
            let to = band.to.map_or(whole, SoilReading::raw);
            let (start, end) = (at(from), at(to));
            drawn.push(Band { at: start, wide: end.less(start), here: band.class == class, words: printed_as(band) });
            ticks.extend(band.to.map(|to| (end, to.to_string())));
            from = to;
        }
        let label = format!("{reading} {}", unit(given));
        let words = format!("{label} of {}: {class}", nutrient.label());
        Some(Self {
            name: format!("{}, {}", capital(nutrient.label()), extractant.label()),
            class,
            label,
            mark: at(reading.raw()),
            bands: drawn,
            ticks,
            words,
        })
    }

    /// An acidity on the range of one source.
    pub fn of_ph(ph: SoilPh, wanted: &TargetPh) -> Self {
        let (first, last) = (PH.0.min(ph.raw() / 100 * 100), PH.1.max((ph.raw() + 99) / 100 * 100));
        let at = |raw: i64| Share::of(raw - first, last - first);
        let (from, to) = (at(wanted.from.raw()), at(wanted.to.raw()));
        let class = match ph {
            ph if ph < wanted.from => "below the range",
            ph if ph > wanted.to => "above the range",
            _ => "in the range",
        };
        let range = format!("{} to {}", wanted.from, wanted.to);
        let ticks = (first / 100..=last / 100).map(|whole| (at(whole * 100), whole.to_string()));
        Self {
            name: format!("pH, by {}", wanted.source),
            class: class.to_owned(),
            label: format!("pH {ph}"),
            mark: at(ph.raw()),
            bands: vec![Band { at: from, wide: to.less(from), here: class == "in the range", words: range.clone() }],
            ticks: ticks.collect(),
            words: format!("pH {ph} is {class} of {range}"),
        }
    }

    /// The number's label never leaves the picture: it stands to the side on which there is room.
    fn anchor(&self) -> &'static str {
        match self.mark {
            mark if mark < Share::of(1, 3) => "start",
            mark if mark > Share::of(2, 3) => "end",
            _ => "middle",
        }
    }
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().into_iter().flat_map(char::to_uppercase).chain(letters).collect()
}

/// A line of a table, as it was printed.
fn printed_as(band: &SoilBand) -> String {
    match band.to {
        Some(to) => format!("{} to {to}: {}", band.from, band.class),
        None => format!("from {}: {}", band.from, band.class),
    }
}

#[cfg(test)]
mod tests {
    use domain::soil::{
        reading::{ReportedValue, read_value},
        table::{Extractant, SoilBasis, SoilNutrient, SoilUnit},
    };

    use super::*;

    /// Phosphorus by Mehlich-3 in pounds an acre, as Rutgers prints it.
    fn scale(reading: &str, unit: SoilUnit) -> Option<SoilScale> {
        let value = ReportedValue {
            nutrient: SoilNutrient::Phosphorus,
            reading: SoilReading::parse(reading).unwrap(),
            extractant: Extractant::Mehlich3,
            unit,
            basis: SoilBasis::Element,
            north_carolina_equation: None,
        };
        SoilScale::of(&read_value(&value, Some(SoilTable::Rutgers)), SoilTable::Rutgers)
    }

    #[test]
    fn a_number_lies_in_the_band_that_its_table_names() {
        // Rutgers NJAES, Relative Levels of Nutrients: very low to 24, low to 45, medium to 71, high to 137, above it very high.
        let drawn = scale("30", SoilUnit::LbPerAcre).unwrap();
        let ends: Vec<&str> = drawn.ticks.iter().map(|(_, words)| words.as_str()).collect();
        assert_eq!(ends, ["24", "45", "71", "137"]);
        let here: Vec<&str> = drawn.bands.iter().filter(|band| band.here).map(|band| band.words.as_str()).collect();
        assert_eq!(here, ["25 to 45: low"]);
        let low = &drawn.bands[1];
        // The open end: 138 and a third of it more, 184. 24 of 184 are 13.04 %, 45 are 24.45 %, 30 are 16.30 %.
        assert_eq!((low.at, low.wide, drawn.mark), (Share(1304), Share(1141), Share(1630)));
        assert!(low.at < drawn.mark && drawn.mark < low.at.plus(low.wide));
        assert_eq!((drawn.words.as_str(), drawn.anchor()), ("30 lb per acre of phosphorus: low", "start"));
    }

    #[test]
    fn between_two_lines_and_beyond_the_last_a_number_lies_in_its_band() {
        for reading in ["24", "24.5", "45", "137.2", "138", "5000"] {
            let drawn = scale(reading, SoilUnit::LbPerAcre).unwrap();
            let here = drawn.bands.iter().find(|band| band.here).unwrap();
            assert!(here.at <= drawn.mark && drawn.mark <= here.at.plus(here.wide), "{reading}: {drawn:?}");
            assert_eq!(drawn.bands.iter().map(|band| band.wide.0).sum::<i64>(), 10_000, "{reading}: no gap");
        }
    }

    #[test]
    fn without_a_table_there_is_no_scale() {
        assert!(scale("30", SoilUnit::Index).is_none());
    }

    #[test]
    fn an_acidity_lies_on_the_range_of_its_source() {
        let wanted = &domain::soil::target_ph::target_ph(domain::land::Species::KentuckyBluegrass)[0];
        let drawn = |ph: &str| SoilScale::of_ph(SoilPh::parse(ph).unwrap(), wanted);
        // Penn State: 6.0 to 7.2; from pH 4 to 9 that is 40 % to 64 %, and 5.8 stands at 36 %.
        let sour = drawn("5.8");
        assert_eq!((sour.bands[0].at, sour.bands[0].wide, sour.mark), (Share(4000), Share(2400), Share(3600)));
        assert_eq!(sour.words, "pH 5.8 is below the range of 6 to 7.2");
        assert!(drawn("6").bands[0].here && drawn("7.2").bands[0].here && !drawn("7.21").bands[0].here);
        assert_eq!(drawn("3.5").ticks.first().map(|(_, words)| words.as_str()), Some("3"), "another one moves the end");
    }
}
