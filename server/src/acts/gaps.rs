//! What a record lacks by the law of its day, and how each gap is closed.

use domain::{
    application::Audience,
    law::{DutySource, Lawbook, disclosure::RecordField},
    time::{Day, Instant},
    weather::Weather,
};
use serde::Serialize;
use utoipa::ToSchema;

use crate::acts::{
    particulars::{CredentialThen, Particulars, PersonalTexts},
    seen::SeenFacts,
};

/// What kind of thing is missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum GapKind {
    /// A thing that the record must name.
    Field,
    /// A licence or certificate of whoever did or supervised the work, valid on the day.
    Credential,
    /// It was not written when the law wants it written.
    Late,
}

/// How a gap is closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum GapClosing {
    /// By adding to the record what was seen.
    AddWhatWasSeen,
    /// By entering it in the book for the day of the work, and then adding to the record what the book says.
    EnterAndAdd,
    /// By nothing: it stays and is told.
    Stays,
}

/// One thing that a record lacks.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct RecordGap {
    pub kind: GapKind,
    /// Which thing, where the law names one.
    pub field: Option<RecordField>,
    /// It in words.
    #[schema(max_length = 200)]
    pub words: String,
    pub closing: GapClosing,
    /// How to close it, in words.
    #[schema(max_length = 300)]
    pub hint: &'static str,
    pub source: DutySource,
}

/// What of a record is known that a law may ask: what was fixed when it was written, and what was added since.
#[derive(Debug, Clone)]
pub struct Known {
    written: Vec<RecordField>,
    credentials: Vec<CredentialThen>,
}

impl Default for Known {
    /// What no record is without.
    fn default() -> Self {
        use RecordField as F;
        let written = vec![
            F::CustomerName,
            F::CustomerAddress,
            F::SiteAddress,
            F::ApplicatorName,
            F::Date,
            F::AreaTreated,
            F::ProductName,
            F::NutrientAnalysis,
            F::Rate,
            F::TotalAmount,
            F::EquipmentOrMethod,
            F::ReasonForUse,
        ];
        Self { written, credentials: Vec::new() }
    }
}

impl Known {
    fn tell(&mut self, field: RecordField, there: bool) {
        self.written.extend(there.then_some(field));
    }

    /// What stood of the things that the record names. Texts that were destroyed had been there.
    pub fn fixed(&mut self, particulars: &Particulars, texts: Option<&PersonalTexts>) {
        let tested = particulars.sections.iter().all(|section| section.soil_report.is_some());
        self.tell(RecordField::CustomerTelephone, texts.is_none_or(|texts| texts.telephone.is_some()));
        self.tell(RecordField::SupervisorName, texts.is_some_and(|texts| texts.supervisor.is_some()));
        self.tell(RecordField::LabelCopy, particulars.product.label_file.is_some());
        self.tell(RecordField::SoilTestResult, tested);
        self.credentials.extend(particulars.credentials.iter().chain(&particulars.supervisor_credentials).cloned());
        self.tell(RecordField::LicenceNumber, !self.credentials.is_empty());
    }

    /// What somebody saw. Any condition at the start is weather: Virginia names none in particular (2VAC5-405-100 A 4).
    pub fn seen(&mut self, seen: &SeenFacts) {
        self.tell(RecordField::WeatherAtStart, seen.sky.is_some() || seen.wind_from.is_some());
        self.tell(RecordField::SpecialLabelInstruction, !seen.label_instructions.is_empty());
    }

    /// What was said of the weather. A forecast of rain or an alert is none that there was.
    pub fn weather(&mut self, weather: &Weather) {
        let there = weather.air_temperature.is_some() || weather.wind.is_some() || weather.heavy_rain.is_some();
        self.tell(RecordField::WeatherAtStart, there);
    }
}

/// When a record was written.
#[derive(Debug, Clone, Copy)]
pub struct Written {
    pub on: Day,
    pub finished_at: Instant,
    pub received_at: Instant,
    /// Its day had ended at the property when it came in.
    pub after_the_day: bool,
}

/// What a record of hired work lacks by the rule sets that bound its property on its day.
pub fn gaps(known: &Known, written: Written, codes: &[String], law: &Lawbook) -> Vec<RecordGap> {
    let (audience, on) = (Audience::Professional, written.on);
    let missing = law.missing_fields(codes, audience, on, &known.written);
    let mut gaps: Vec<RecordGap> = missing
        .into_iter()
        .map(|field| {
            let (closing, hint) = closing(field.field);
            RecordGap {
                kind: GapKind::Field,
                field: Some(field.field),
                words: field.words,
                closing,
                hint,
                source: field.source,
            }
        })
        .collect();
    for needed in law.credentials_needed(codes, audience, on) {
        let held = |one: &CredentialThen| one.rule_set.as_ref() == Some(&needed.rule_set);
        if !known.credentials.iter().any(held) {
            gaps.push(RecordGap {
                kind: GapKind::Credential,
                field: None,
                words: "a license or certificate of the applicator or the supervisor, valid on the day".to_owned(),
                closing: GapClosing::EnterAndAdd,
                hint: "Enter the certificate with its days and the place where it counts; then add to the record what the book says.",
                source: needed.source,
            });
        }
    }
    gaps.extend(late(written, codes, law));
    gaps
}

/// An entry that came later than the law wants it.
fn late(written: Written, codes: &[String], law: &Lawbook) -> Option<RecordGap> {
    let (deadline, source) = law.record_deadline(codes, Audience::Professional, written.on)?;
    let after = written.received_at.since(written.finished_at).as_secs();
    let late = match deadline.hours {
        None => written.after_the_day,
        Some(hours) => after > i64::from(hours) * 3_600,
    };
    late.then(|| RecordGap {
        kind: GapKind::Late,
        field: None,
        words: "an entry made in time: it came after the day of the work".to_owned(),
        closing: GapClosing::Stays,
        hint: "Nothing takes it back; the record says when it came. Send the next ones on their day.",
        source,
    })
}

fn closing(field: RecordField) -> (GapClosing, &'static str) {
    use RecordField as F;
    match field {
        F::WeatherAtStart => {
            (GapClosing::AddWhatWasSeen, "Add to the record what somebody saw at the start: sky or wind.")
        }
        F::SpecialLabelInstruction => {
            (GapClosing::AddWhatWasSeen, "Add to the record which instruction of the label was kept and passed on.")
        }
        F::LabelCopy => (
            GapClosing::EnterAndAdd,
            "Keep the label as a file with the product; then add to the record what the book says.",
        ),
        F::SoilTestResult => (
            GapClosing::EnterAndAdd,
            "Enter the soil report that was there on the day; then add to the record what the book says.",
        ),
        F::CustomerTelephone => (
            GapClosing::EnterAndAdd,
            "Enter the telephone number with the client from the day on which it was so; then add to the record what the book says.",
        ),
        F::LicenceNumber => (
            GapClosing::EnterAndAdd,
            "Enter the certificate with its days and number; then add to the record what the book says.",
        ),
        _ => (GapClosing::Stays, "Take the record back by a correction, and send it again with this."),
    }
}
