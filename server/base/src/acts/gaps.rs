//! What a record lacks by the law of its day, and how each gap is closed.

use std::collections::HashSet;

use domain::{
    ids::SectionId,
    law::{
        Bound, CredentialNeeded, DutySource, Lawbook, Mark, RequiredField, disclosure::RecordField, nutrient::Nutrient,
    },
    time::{Day, Instant},
    weather::Weather,
};
use serde::Serialize;
use utoipa::ToSchema;

use crate::acts::{
    particulars::{CredentialThen, Particulars, PersonalTexts, SectionThen, SoilReportThen},
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
    /// Nobody can say what a rule set asks of it that bound the work, because this server does not have its file.
    RuleSet,
}

/// How a gap is closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum GapClosing {
    /// By adding to the record what was seen.
    AddWhatWasSeen,
    /// By entering it in the book for the day of the work, and then adding to the record what the book says.
    EnterAndAdd,
    /// By taking the record back by a correction and sending it again with this.
    TakeBackAndSendAgain,
    /// By nothing that puts it right: the office or the owner adds why it is so.
    Explain,
    /// By putting the file of the rule set back, which whoever runs the server does.
    PutTheFileBack,
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
    supervisor_credentials: Vec<CredentialThen>,
    /// Sections of which the result of a soil test is told.
    tested: HashSet<SectionId>,
    /// What the product holds.
    nutrients: Vec<Nutrient>,
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
        Self {
            written,
            credentials: Vec::new(),
            supervisor_credentials: Vec::new(),
            tested: HashSet::new(),
            nutrients: Vec::new(),
        }
    }
}

impl Known {
    fn tell(&mut self, field: RecordField, there: bool) {
        self.written.extend(there.then_some(field));
    }

    /// What stood of the things that the record names. Texts that were destroyed had been there.
    pub fn fixed(&mut self, particulars: &Particulars, texts: Option<&PersonalTexts>) {
        self.tell(RecordField::CustomerTelephone, texts.is_none_or(|texts| texts.telephone.is_some()));
        self.tell(RecordField::SupervisorName, texts.is_none_or(|texts| texts.supervisor.is_some()));
        self.tell(RecordField::EpaRegistration, particulars.product.pesticide.is_some());
        self.tell(RecordField::LabelCopy, particulars.product.label_file.is_some());
        self.sections(&particulars.sections);
        self.credentials.extend(particulars.credentials.iter().cloned());
        self.supervisor_credentials.extend(particulars.supervisor_credentials.iter().cloned());
        self.tell(RecordField::LicenceNumber, !self.credentials.is_empty() || !self.supervisor_credentials.is_empty());
        self.nutrients.extend(particulars.product.nutrients());
    }

    /// What stood of sections. A report that the record names without what it says of phosphorus is no result on it.
    pub fn sections(&mut self, sections: &[SectionThen]) {
        let says = |report: &SoilReportThen| {
            report.phosphorus.is_some() || report.phosphate_recommended_lb_per_1000_sqft.is_some()
        };
        let tested = sections.iter().filter(|section| section.soil_report.as_ref().is_some_and(says));
        self.tested.extend(tested.map(|section| section.section_id));
    }

    /// Which sections it is about by the last word on it: each must have had its soil test.
    pub fn stand(&mut self, sections: &[SectionId]) {
        let tested = sections.iter().all(|section| self.tested.contains(section));
        self.tell(RecordField::SoilTestResult, tested);
    }

    /// What somebody saw. Any condition at the start is weather: Virginia names none in particular (2VAC5-405-100 A 4).
    pub fn seen(&mut self, seen: &SeenFacts) {
        self.tell(RecordField::WeatherAtStart, seen.sky.is_some() || seen.wind_from.is_some());
        self.tell(RecordField::WindDirection, seen.wind_from.is_some());
        let told = seen.no_label_instruction || !seen.label_instructions.is_empty();
        self.tell(RecordField::SpecialLabelInstruction, told);
    }

    /// What was said of the weather. A forecast of rain or an alert is none that there was.
    pub fn weather(&mut self, weather: &Weather) {
        let there = weather.air_temperature.is_some() || weather.wind.is_some() || weather.heavy_rain.is_some();
        self.tell(RecordField::WeatherAtStart, there);
        self.tell(RecordField::AirTemperature, weather.air_temperature.is_some());
        self.tell(RecordField::WindSpeed, weather.wind.is_some());
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

/// Which law a record is held against: the rule sets of its place and day, who worked there, and on which ground.
#[derive(Debug, Clone)]
pub struct OfTheDay {
    pub rule_sets: Vec<String>,
    pub bound: Bound,
    /// Who worked there and on which ground by what was learned since, where that is something else. What either asks is asked.
    pub learned: Option<Bound>,
}

impl OfTheDay {
    pub fn bounds(&self) -> impl Iterator<Item = Bound> {
        [Some(self.bound), self.learned.filter(|learned| *learned != self.bound)].into_iter().flatten()
    }
}

/// What the law of a day asks of a record that only somebody on the spot can see, while nothing of it is written yet.
pub fn asked_on_the_spot(on: Day, asked: &OfTheDay, law: &Lawbook) -> Vec<RequiredField> {
    let missing = law.missing_fields(&asked.rule_sets, asked.bound, on, &Known::default().written);
    // How warm it was and how hard the wind blew cannot be added later, so they must be asked while somebody is there.
    let measured = |field: RecordField| matches!(field, RecordField::AirTemperature | RecordField::WindSpeed);
    let seen = |field: RecordField| measured(field) || closing(field).0 == GapClosing::AddWhatWasSeen;
    missing.into_iter().filter(|field| seen(field.field)).collect()
}

/// What a record lacks by the law of its day.
pub fn gaps(known: &Known, written: Written, asked: &OfTheDay, law: &Lawbook) -> Vec<RecordGap> {
    let mut found: Vec<RecordGap> = Vec::new();
    for bound in asked.bounds() {
        let more = bound_gaps(known, written, (&asked.rule_sets, bound), law);
        let told = |gap: &RecordGap| {
            let same = |one: &RecordGap| one.kind == gap.kind && one.field == gap.field;
            found.iter().any(|one| if gap.kind == GapKind::Credential { one == gap } else { same(one) })
        };
        let more: Vec<RecordGap> = more.into_iter().filter(|gap| !told(gap)).collect();
        found.extend(more);
    }
    found.extend(asked.rule_sets.iter().filter(|code| law.rule_set(code).is_none()).map(|code| unknown_law(code)));
    found
}

/// What a rule set asks whose file is not here is not known, so nothing lets the record pass for whole.
fn unknown_law(code: &str) -> RecordGap {
    RecordGap {
        kind: GapKind::RuleSet,
        field: None,
        words: format!(
            "what the rule set “{code}” asks of it: it bound the work, and this server does not have its file"
        ),
        closing: GapClosing::PutTheFileBack,
        hint: "Whoever runs the server puts the rule file back into its folder and lets the server read it.",
        source: DutySource {
            rule: code.to_owned(),
            citation: "The company's own book".to_owned(),
            href: None,
            mark: Mark::Own,
        },
    }
}

fn bound_gaps(known: &Known, written: Written, (codes, bound): (&[String], Bound), law: &Lawbook) -> Vec<RecordGap> {
    let on = written.on;
    let missing = law.missing_fields(codes, bound, on, &known.written);
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
    let needed = law.credentials_needed(codes, bound, on, |nutrient| known.nutrients.contains(&nutrient));
    gaps.extend(needed.into_iter().filter_map(|needed| uncertified(known, needed)));
    gaps.extend(late(written, (codes, bound), law));
    gaps
}

/// The certificate that nobody is seen to have held: the applicator, or a supervisor over somebody who was trained.
fn uncertified(known: &Known, needed: CredentialNeeded) -> Option<RecordGap> {
    let holds = |held: &[CredentialThen], codes: &[String]| {
        held.iter().any(|one| one.code.as_ref().is_some_and(|code| codes.contains(code)))
    };
    let supervised = holds(&known.credentials, &needed.trained) && holds(&known.supervisor_credentials, &needed.held);
    if supervised || holds(&known.credentials, &needed.held) {
        return None;
    }
    let unnamed = |one: &CredentialThen| one.code.is_none() && one.rule_set.as_ref() == Some(&needed.rule_set);
    if needed.supervision_unread && holds(&known.supervisor_credentials, &needed.held) {
        return Some(unread_supervision(needed));
    }
    // A supervisor's certificate is of use only where the law lets people work under one, or nobody read whether it does.
    let of_use = !needed.trained.is_empty() || needed.supervision_unread;
    let over = known.supervisor_credentials.iter().filter(|_| of_use);
    let (words, hint) = if known.credentials.iter().chain(over).any(unnamed) {
        (
            "word of which certificate it was: one of this place was valid on the day, and it was not entered which one",
            "Choose on the certificate which one it is; then add to the record what is on file now.",
        )
    } else {
        (
            "a license or certificate of the applicator, valid on the day, or that of a supervisor over somebody trained",
            "Enter the certificate with its days, the place where it counts and which one it is; then add to the record what is on file now.",
        )
    };
    Some(RecordGap {
        kind: GapKind::Credential,
        field: None,
        words: words.to_owned(),
        closing: GapClosing::EnterAndAdd,
        hint,
        source: needed.source,
    })
}

/// Nobody read whether a supervisor's license is enough, so nothing that could be entered closes the gap.
fn unread_supervision(needed: CredentialNeeded) -> RecordGap {
    RecordGap {
        kind: GapKind::Credential,
        field: None,
        words: "a license or certificate of the applicator: it was not read whether the supervisor's, valid on the day, is enough"
            .to_owned(),
        closing: GapClosing::Explain,
        hint: "Ask the authority. The office or the owner adds to the record what it said.",
        source: needed.source,
    }
}

/// An entry that came later than the law wants it.
fn late(written: Written, (codes, bound): (&[String], Bound), law: &Lawbook) -> Option<RecordGap> {
    let (deadline, source) = law.record_deadline(codes, bound, written.on)?;
    let after = written.received_at.since(written.finished_at).as_secs();
    let late = match deadline.hours {
        None => written.after_the_day,
        Some(hours) => after > i64::from(hours) * 3_600,
    };
    late.then(|| RecordGap {
        kind: GapKind::Late,
        field: None,
        words: "an entry made in time: it came after the day of the work".to_owned(),
        closing: GapClosing::Explain,
        hint: "The office or the owner adds to the record why it came late. The record says when it came all the same.",
        source,
    })
}

fn closing(field: RecordField) -> (GapClosing, &'static str) {
    use RecordField as F;
    match field {
        F::WeatherAtStart => {
            (GapClosing::AddWhatWasSeen, "Add to the record what somebody saw at the start: sky or wind.")
        }
        F::WindDirection => (
            GapClosing::AddWhatWasSeen,
            "Add to the record from where the wind came at the start, or that there was none.",
        ),
        F::SpecialLabelInstruction => (
            GapClosing::AddWhatWasSeen,
            "Add to the record which instruction of the label was kept and passed on, or that the label has none.",
        ),
        F::LabelCopy => (
            GapClosing::EnterAndAdd,
            "Keep the label as a file with the product; then add to the record what is on file now.",
        ),
        F::SoilTestResult => (
            GapClosing::EnterAndAdd,
            "Enter the soil report that was there on the day, with what it says of phosphorus; then add to the record what is on file now.",
        ),
        F::CustomerTelephone => (
            GapClosing::EnterAndAdd,
            "Enter the telephone number with the client from the day on which it was so; then add to the record what is on file now.",
        ),
        F::LicenceNumber => (
            GapClosing::EnterAndAdd,
            "Enter the certificate with its days and number; then add to the record what is on file now.",
        ),
        _ => (GapClosing::TakeBackAndSendAgain, "Take the record back by a correction, and send it again with this."),
    }
}
