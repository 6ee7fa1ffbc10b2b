//! The closed list of duties, and whom a rule binds.

use serde::{Deserialize, Serialize};

/// The closed list of duties. Each that judges an application has one file under `rules`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RuleKind {
    CapApplication,
    CapYear,
    Window,
    PhosphorusNeed,
    SoilReportBefore,
    Setback,
    Ground,
    Rain,
    Alerts,
    Heat,
    SlowShare,
    HoldAfterSeeding,
    Surface,
    Release,
    Interval,
    CountYear,
    PlanNeed,
    CredentialNeed,
    RecordFields,
    RecordDeadline,
    Retention,
    Credential,
    Notice,
    Report,
    Plan,
    Conduct,
    Meaning,
    Penalty,
}

impl RuleKind {
    /// Every kind, judging ones first.
    pub const ALL: [Self; 28] = [
        Self::CapApplication,
        Self::CapYear,
        Self::Window,
        Self::PhosphorusNeed,
        Self::SoilReportBefore,
        Self::Setback,
        Self::Ground,
        Self::Rain,
        Self::Alerts,
        Self::Heat,
        Self::SlowShare,
        Self::HoldAfterSeeding,
        Self::Surface,
        Self::Release,
        Self::Interval,
        Self::CountYear,
        Self::PlanNeed,
        Self::CredentialNeed,
        Self::RecordFields,
        Self::RecordDeadline,
        Self::Retention,
        Self::Credential,
        Self::Notice,
        Self::Report,
        Self::Plan,
        Self::Conduct,
        Self::Meaning,
        Self::Penalty,
    ];

    /// Whether a rule of this kind judges an application. The others are only read out.
    pub const fn judges(self) -> bool {
        !matches!(
            self,
            Self::RecordFields
                | Self::RecordDeadline
                | Self::Retention
                | Self::Credential
                | Self::Notice
                | Self::Report
                | Self::Plan
                | Self::Conduct
                | Self::Meaning
                | Self::Penalty
        )
    }
}

/// Whom a rule binds. Only what binds the applicator judges an application; a label's or a seller's duty is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum BoundParty {
    Applicator,
    Label,
    Seller,
}

impl RuleKind {
    /// The unit a kind's numbers are written in, if it has numbers with one.
    pub(super) const fn unit(self) -> Option<&'static str> {
        match self {
            Self::CapApplication | Self::CapYear | Self::Window | Self::Release => Some("lb/ksf"),
            Self::PhosphorusNeed | Self::SlowShare => Some("%"),
            Self::Setback => Some("ft"),
            Self::Rain => Some("in"),
            Self::Heat => Some("°F"),
            _ => None,
        }
    }

    pub(super) const fn has_nutrient(self) -> bool {
        matches!(
            self,
            Self::CapApplication
                | Self::CapYear
                | Self::Release
                | Self::SoilReportBefore
                | Self::Heat
                | Self::HoldAfterSeeding
                | Self::Interval
                | Self::CountYear
        )
    }

    pub(super) const fn has_nutrients(self) -> bool {
        matches!(self, Self::Setback | Self::Ground | Self::Rain | Self::Alerts | Self::Surface | Self::CredentialNeed)
    }
}
