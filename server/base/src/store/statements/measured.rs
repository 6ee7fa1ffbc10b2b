//! How large a section was and when its soil was sampled, with when each of it was entered and corrected.

use domain::{
    quantity::Area,
    time::{Day, Instant},
};
use serde::Deserialize;

use crate::store::{read_instant, read_json};

/// Something that was said of a measurement or a soil report, and why.
#[derive(Debug, Clone, PartialEq)]
pub struct Said {
    pub at: Instant,
    /// Tells two of one moment apart: in the order of writing.
    pub seq: i64,
    pub why: Option<String>,
    /// It takes the place of what was said before.
    pub corrects: bool,
}

/// A measurement, also one that does not count. One that took another's place of the same day stands where that one stood.
#[derive(Debug, Clone)]
pub struct MeasurementPart {
    pub on: Day,
    place: i64,
    pub area: Area,
    /// When it was entered; of a correction with its reason.
    pub entered: Said,
    /// It counts only once the office has said that it holds.
    waits: bool,
    /// What the office said of it: whether it holds.
    pub confirmed: Option<(bool, Said)>,
    /// When another took its place.
    pub corrected: Option<Said>,
    /// It says of the one whose place it took that it is of another lawn.
    elsewhere: bool,
}

/// A soil report, also one that was corrected.
#[derive(Debug, Clone)]
pub struct SoilPart {
    pub on: Day,
    place: i64,
    pub entered: Said,
    pub corrected: Option<Said>,
    elsewhere: bool,
}

impl MeasurementPart {
    /// Everything that was said of it.
    pub fn said(&self) -> impl Iterator<Item = &Said> {
        let confirmed = self.confirmed.as_ref().map(|(_, said)| said);
        [Some(&self.entered), confirmed, self.corrected.as_ref()].into_iter().flatten()
    }

    /// Whether it counts, by what was said up to some moment.
    fn counts(&self, known: impl Fn(&Said) -> bool) -> bool {
        let holds = self.confirmed.as_ref().filter(|(_, said)| known(said)).map_or(!self.waits, |(holds, _)| *holds);
        known(&self.entered) && holds && !self.elsewhere && !self.corrected.as_ref().is_some_and(known)
    }

    /// The one by which a section's area stands on a day: the latest by then, else the earliest.
    pub fn standing(parts: &[Self], day: Day, known: impl Fn(&Said) -> bool) -> Option<&Self> {
        let counted = || parts.iter().filter(|part| part.counts(&known));
        let latest = counted().filter(|part| part.on <= day).max_by_key(|part| (part.on, part.place));
        latest.or_else(|| counted().min_by_key(|part| (part.on, part.place)))
    }
}

impl SoilPart {
    /// Everything that was said of it.
    pub fn said(&self) -> impl Iterator<Item = &Said> {
        std::iter::once(&self.entered).chain(&self.corrected)
    }

    /// The one with the newest sample by a day.
    pub fn newest(parts: &[Self], day: Day, known: impl Fn(&Said) -> bool) -> Option<&Self> {
        let counts =
            |part: &&Self| known(&part.entered) && !part.elsewhere && !part.corrected.as_ref().is_some_and(&known);
        parts.iter().filter(|part| part.on <= day).filter(counts).max_by_key(|part| (part.on, part.place))
    }
}

/// Moment, reason, and number in the order of writing.
#[derive(Deserialize)]
struct SaidRow(i64, Option<String>, i64);

impl SaidRow {
    fn said(self, corrects: bool) -> Result<Said, sqlx::Error> {
        Ok(Said { at: read_instant(self.0)?, seq: self.2, why: self.1, corrects })
    }

    /// What was entered: whatever has a reason corrects.
    fn entered(self) -> Result<Said, sqlx::Error> {
        let corrects = self.1.is_some();
        self.said(corrects)
    }
}

/// Day, place among those of its day, area, moment, reason, whether it is to be confirmed and waits, what the office said of
/// it, what took its place, whether it is of another lawn, and its number.
#[derive(Deserialize)]
struct MeasurementRow(
    Day,
    i64,
    i64,
    i64,
    Option<String>,
    i64,
    i64,
    Option<(i64, i64, Option<String>)>,
    Option<SaidRow>,
    i64,
    i64,
);

pub(super) fn measurements(text: &str) -> Result<Vec<MeasurementPart>, sqlx::Error> {
    let rows: Vec<MeasurementRow> = read_json(text, "measurements")?;
    let part =
        |MeasurementRow(on, place, area, at, why, to_confirm, waits, word, corrected, elsewhere, seq): MeasurementRow| {
            let word = word.filter(|_| to_confirm == 1);
            let confirmed =
                word.map(|(holds, at, note)| Ok::<_, sqlx::Error>((holds == 1, SaidRow(at, note, seq).said(false)?)));
            Ok(MeasurementPart {
                on,
                place,
                area: Area::from_raw(area),
                entered: SaidRow(at, why, seq).entered()?,
                waits: to_confirm == 1 && waits == 1,
                confirmed: confirmed.transpose()?,
                corrected: corrected.map(|taken| taken.said(true)).transpose()?,
                elsewhere: elsewhere == 1,
            })
        };
    rows.into_iter().map(part).collect()
}

/// Day, place among those of its day, moment, reason, what took its place, whether it is of another lawn, and its number.
#[derive(Deserialize)]
struct SoilRow(Day, i64, i64, Option<String>, Option<SaidRow>, i64, i64);

pub(super) fn soil_reports(text: &str) -> Result<Vec<SoilPart>, sqlx::Error> {
    let rows: Vec<SoilRow> = read_json(text, "soil reports")?;
    let part = |SoilRow(on, place, at, why, corrected, elsewhere, seq): SoilRow| {
        let (entered, corrected) =
            (SaidRow(at, why, seq).entered()?, corrected.map(|taken| taken.said(true)).transpose()?);
        Ok(SoilPart { on, place, entered, corrected, elsewhere: elsewhere == 1 })
    };
    rows.into_iter().map(part).collect()
}
