//! Duties that judge no application: what is written down and kept, carried and shown, sent in, and what words mean.
//!
//! They bind all the same, so they stand in the same files, dated and cited, and are read out for a place and a day.

use serde::{Deserialize, Serialize};

use super::{
    comparator::Comparator,
    kind::RuleKind,
    month_day::{MonthDay, month_day},
};
use crate::{quantity::Area, text::list};

/// One duty that judges no application and is read out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum DisclosureDuty {
    RecordFields(Vec<RecordField>),
    RecordDeadline(RecordDeadline),
    Retention(Retention),
    Credential(Saying),
    Notice(Saying),
    Report(Report),
    Plan(Saying),
    Conduct(Saying),
    Meaning(Saying),
    Penalty(Saying),
}

/// What a record of an application must hold, as the laws that were read name it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RecordField {
    CustomerName,
    CustomerAddress,
    CustomerTelephone,
    /// The address of the site, if it is another.
    SiteAddress,
    ApplicatorName,
    SupervisorName,
    /// Either of the two will do.
    ApplicatorOrSupervisorName,
    LicenceNumber,
    Date,
    WeatherAtStart,
    AreaTreated,
    PlantsTreated,
    /// Either of the two will do.
    AreaOrPlantsTreated,
    ProductName,
    LabelCopy,
    NutrientAnalysis,
    Rate,
    TotalAmount,
    EquipmentOrMethod,
    SoilTestResult,
    ReasonForUse,
    SpecialLabelInstruction,
    EpaRegistration,
    AirTemperature,
    WindSpeed,
    WindDirection,
}

impl RecordField {
    /// How a sentence calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::CustomerName => "the customer's name",
            Self::CustomerAddress => "the customer's mailing address",
            Self::CustomerTelephone => "the customer's telephone number",
            Self::SiteAddress => "the address of the site",
            Self::ApplicatorName => "the applicator's name",
            Self::SupervisorName => "the supervisor's name",
            Self::ApplicatorOrSupervisorName => "the applicator's or the supervisor's name",
            Self::LicenceNumber => "the licence or certificate number",
            Self::Date => "the date",
            Self::WeatherAtStart => "the weather at the start",
            Self::AreaTreated => "the area treated",
            Self::PlantsTreated => "the plants treated",
            Self::AreaOrPlantsTreated => "the area or the plants treated",
            Self::ProductName => "the product",
            Self::LabelCopy => "the label or a legible copy of it",
            Self::NutrientAnalysis => "the analysis of nutrients",
            Self::Rate => "the rate",
            Self::TotalAmount => "the total amount",
            Self::EquipmentOrMethod => "the equipment or the method",
            Self::SoilTestResult => "the result of the soil test",
            Self::ReasonForUse => "the reason for the use",
            Self::SpecialLabelInstruction => "the special label instruction that was passed on",
            Self::EpaRegistration => "the EPA registration number",
            Self::AirTemperature => "the temperature of the air",
            Self::WindSpeed => "the speed of the wind",
            Self::WindDirection => "the direction of the wind",
        }
    }

    /// Whether something that is written satisfies this field.
    pub fn is_met_by(self, written: &[Self]) -> bool {
        let any = |fields: &[Self]| fields.iter().any(|field| written.contains(field));
        match self {
            Self::ApplicatorOrSupervisorName => any(&[self, Self::ApplicatorName, Self::SupervisorName]),
            Self::AreaOrPlantsTreated => any(&[self, Self::AreaTreated, Self::PlantsTreated]),
            _ => written.contains(&self),
        }
    }
}

/// When a record must be written at the latest.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RecordDeadline {
    /// Hours after the work; none when it is written while the work is done.
    pub hours: Option<u16>,
}

/// How long something is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Retention {
    pub years: u16,
    pub counts_from: CountsFrom,
}

/// The day from which the years of keeping count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CountsFrom {
    Application,
    EndOfEmployment,
}

/// A report to the authority.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Report {
    pub words: String,
    /// Last day of the following year on which it may come in.
    pub due: MonthDay,
    pub area: Option<AreaThreshold>,
}

/// A duty that is only said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Saying {
    pub words: String,
    pub area: Option<AreaThreshold>,
}

/// Ground from which on a duty begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AreaThreshold {
    pub comparator: Comparator,
    pub area: Area,
}

impl AreaThreshold {
    pub fn is_reached_by(self, area: Area) -> bool {
        self.comparator.holds(area.cmp(&self.area))
    }

    pub(crate) fn label(self) -> String {
        format!(" (where {} {} sq ft are concerned)", self.comparator.label(), self.area)
    }
}

impl DisclosureDuty {
    pub const fn kind(&self) -> RuleKind {
        match self {
            Self::RecordFields(_) => RuleKind::RecordFields,
            Self::RecordDeadline(_) => RuleKind::RecordDeadline,
            Self::Retention(_) => RuleKind::Retention,
            Self::Credential(_) => RuleKind::Credential,
            Self::Notice(_) => RuleKind::Notice,
            Self::Report(_) => RuleKind::Report,
            Self::Plan(_) => RuleKind::Plan,
            Self::Conduct(_) => RuleKind::Conduct,
            Self::Meaning(_) => RuleKind::Meaning,
            Self::Penalty(_) => RuleKind::Penalty,
        }
    }

    /// The ground from which on the duty begins, if it depends on that.
    pub const fn area(&self) -> Option<AreaThreshold> {
        match self {
            Self::Report(report) => report.area,
            Self::Credential(said)
            | Self::Notice(said)
            | Self::Plan(said)
            | Self::Conduct(said)
            | Self::Meaning(said)
            | Self::Penalty(said) => said.area,
            Self::RecordFields(_) | Self::RecordDeadline(_) | Self::Retention(_) => None,
        }
    }

    /// The duty in one sentence without its full stop.
    pub(crate) fn sentence(&self) -> String {
        let area = self.area().map_or_else(String::new, AreaThreshold::label);
        match self {
            Self::RecordFields(fields) => {
                format!("The record of an application names {}", list(fields, |field| field.label().to_owned(), "and"))
            }
            Self::RecordDeadline(RecordDeadline { hours: None }) => {
                "The record is written while the work is done".to_owned()
            }
            Self::RecordDeadline(RecordDeadline { hours: Some(hours) }) => {
                format!("The record is written within {hours} hours of the work")
            }
            Self::Retention(Retention { years, counts_from: CountsFrom::Application }) => {
                format!("Records are kept for {years} years after the application")
            }
            Self::Retention(Retention { years, counts_from: CountsFrom::EndOfEmployment }) => {
                format!("Records of training are kept for {years} years after the employment ends")
            }
            Self::Report(report) => {
                format!("By {} of the following year: {}{area}", month_day(report.due), report.words)
            }
            Self::Credential(said)
            | Self::Notice(said)
            | Self::Plan(said)
            | Self::Conduct(said)
            | Self::Meaning(said)
            | Self::Penalty(said) => format!("{}{area}", said.words),
        }
    }
}
