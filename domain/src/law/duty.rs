//! What each kind of rule demands, with its numbers.

mod setback;

pub use setback::{BesideWater, Setback};

use serde::Deserialize;

use super::{
    comparator::Comparator,
    disclosure::{AreaThreshold, DisclosureDuty, Saying},
    kind::RuleKind,
    month_day::MonthDay,
    nutrient::Nutrient,
    scope::Scope,
};
use crate::{
    application::{Ground, Purpose},
    land::Species,
    product::Label,
    quantity::{NutrientRate, Percent, RainDepth, Temperature},
    soil::SoilCategory,
    time::Day,
    weather::Alert,
};

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Duty {
    CapApplication(CapApplication),
    CapYear(CapYear),
    Window(Window),
    PhosphorusNeed(PhosphorusNeed),
    SoilReportBefore(SoilReportBefore),
    Setback(Setback),
    Ground(GroundBar),
    Rain(Rain),
    Alerts(AlertBar),
    Heat(Heat),
    SlowShare(SlowShare),
    HoldAfterSeeding(HoldAfterSeeding),
    Surface(Vec<Nutrient>),
    Release(Release),
    Interval(Interval),
    CountYear(CountYear),
    PlanNeed(PlanNeed),
    CredentialNeed(CredentialNeed),
    /// Judges no application.
    Disclosure(DisclosureDuty),
}

/// Most of a nutrient in one application.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CapApplication {
    pub nutrient: Nutrient,
    pub comparator: Comparator,
    pub amount: Amount,
}

/// Most of a nutrient in a year.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CapYear {
    pub nutrient: Nutrient,
    pub comparator: Comparator,
    pub amount: Amount,
    pub counts: Counts,
}

/// A limit that may differ from turf to turf.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Amount {
    One(NutrientRate),
    /// Never empty.
    BySpecies(Vec<(Species, NutrientRate)>),
    /// On the water and elsewhere. Whether a section near water fronts on it is no fact, so near water both are possible.
    ByWaterfront {
        waterfront: NutrientRate,
        elsewhere: NutrientRate,
    },
}

/// Which earlier applications a yearly cap counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Counts {
    AllProducts,
    /// Only those the rule itself is about.
    WithinScope,
}

/// Days of the year on which less of some nutrients may go down, or none.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Window {
    pub first_barred: MonthDay,
    pub last_barred: MonthDay,
    pub per: WindowPer,
    /// Never empty; a cap of zero closes the season for that nutrient.
    pub caps: Vec<(Nutrient, NutrientRate)>,
}

impl Window {
    /// Whether a day is barred. Both named days are; a window may wrap the end of the year, and one that ends on February 29
    /// ends on the 28th in a year without it.
    pub fn holds_on(&self, day: Day) -> bool {
        let today = (day.date().month(), day.date().day());
        if self.first_barred <= self.last_barred {
            (self.first_barred..=self.last_barred).contains(&today)
        } else {
            today >= self.first_barred || today <= self.last_barred
        }
    }
}

/// Whether a window's caps hold for each application or for the whole window.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WindowPer {
    Application,
    Window,
}

/// Phosphorus only where something shows a need.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PhosphorusNeed {
    /// Products with at most this share of P2O5 are not concerned.
    pub threshold: Percent,
    pub soil_report: Proof,
    /// Categories that show a need.
    pub categories: Vec<SoilCategory>,
    /// Oldest report in calendar months, counted to the day of application.
    pub report_months: Option<u16>,
    /// Never more in the year than the laboratory recommends.
    pub up_to_recommended: bool,
    /// A product above this share is let through by no report.
    pub product_at_most: Option<Percent>,
    /// Products and purposes that need no report.
    pub excuses: Vec<Scope>,
    /// For how long after seeding a purpose of establishment excuses.
    pub establishment_months: u16,
    /// One application within 365 days that puts down at most this much P2O5 needs no report.
    pub one_free: Option<NutrientRate>,
}

/// What in a soil report shows the need.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Proof {
    /// No report opens phosphorus.
    Never,
    /// A recommended amount above zero; the category only where no amount is given.
    Recommendation,
    /// The category alone.
    Category,
}

/// A soil report must lie before an application of a nutrient to a section.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SoilReportBefore {
    pub nutrient: Nutrient,
    /// Before which application of the nutrient: 1 is the first.
    pub application: u16,
    pub report_months: Option<u16>,
    pub excused_purposes: Vec<Purpose>,
    /// For how long after seeding a purpose of establishment excuses.
    pub establishment_months: u16,
}

/// States of the ground on which nothing may go down.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GroundBar {
    pub nutrients: Vec<Nutrient>,
    pub barred: Vec<Ground>,
    /// States that are barred or not by a measure that the observation does not give.
    pub measure: Vec<Ground>,
}

impl GroundBar {
    /// The barred states. Ground that is frozen at all needs no depth beside it.
    pub(crate) fn label(&self) -> String {
        let frozen = self.barred.contains(&Ground::Frozen);
        let said: Vec<Ground> =
            self.barred.iter().copied().filter(|ground| !(frozen && *ground == Ground::FrozenTwoInches)).collect();
        crate::text::list(&said, |ground| ground.label().to_owned(), "or")
    }
}

/// Rain that falls or is forecast.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rain {
    pub nutrients: Vec<Nutrient>,
    pub forecast: Option<ForecastBar>,
    /// Heavy rain that falls bars too.
    pub occurring: bool,
}

/// Rain that is forecast.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ForecastBar {
    /// How the forecast compares when it bars; nothing when the law says "heavy" and no number was read.
    pub amount: Option<(Comparator, RainDepth)>,
    /// It bars only when its chance is above this.
    pub chance_over: Option<Percent>,
    pub hours: u16,
}

/// Watches and warnings that bar.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AlertBar {
    pub nutrients: Vec<Nutrient>,
    pub alerts: Vec<Alert>,
}

/// Air too hot for a nutrient.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heat {
    pub nutrient: Nutrient,
    /// How the air compares when it bars.
    pub comparator: Comparator,
    pub temperature: Temperature,
}

/// Least share of slow-release nitrogen in all nitrogen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SlowShare {
    pub comparator: Comparator,
    pub share: Percent,
    /// Only nitrogen that does not dissolve in water counts as slow-release.
    pub not_water_soluble: bool,
    /// Nitrogen that is enhanced in another way than by being slow counts too, such as stabilised nitrogen.
    pub enhanced_counts: bool,
    /// What holds more phosphorus than this share, as P and not as P2O5, is none of the slow-release fertilizer that is meant.
    pub phosphorus_at_most: Option<Percent>,
    /// Ground near waters of a kind that no fact tells apart: near water a person must say whether it lies there.
    pub only_where: Option<String>,
}

/// New turf that must be left alone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HoldAfterSeeding {
    pub nutrient: Nutrient,
    pub days: u16,
}

/// Most nitrogen that an enhanced-efficiency product may set free.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Release {
    pub nutrient: Nutrient,
    pub comparator: Comparator,
    pub limit: NutrientRate,
    pub per: ReleasePer,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ReleasePer {
    Month,
    /// The text names no span. A month's release proves the duty when it fits, and proves nothing when it does not.
    AnyTime,
}

/// Least number of days from one application of a nutrient to the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Interval {
    pub nutrient: Nutrient,
    pub days: u16,
}

/// Most applications of a nutrient in a year.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CountYear {
    pub nutrient: Nutrient,
    pub most: u16,
    /// Whether the text says calendar year; otherwise every span of 365 days counts as well.
    pub calendar: bool,
}

/// A written nutrient plan for the site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanNeed {
    /// What the text asks, and of how large a site.
    pub said: Saying,
    /// Oldest plan in calendar months.
    pub plan_months: Option<u16>,
}

/// A certificate or licence of whoever does the work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CredentialNeed {
    pub nutrients: Vec<Nutrient>,
    /// What the text asks, and from how much ground on. That ground is what the company serves, of which one application shows
    /// only a part.
    pub said: Saying,
    /// Codes of credentials, of which one will do. Never empty.
    pub held: Vec<String>,
    /// Codes of which one will do under the supervision of somebody who holds one of the former.
    pub trained: Vec<String>,
    /// Whether somebody who holds none may work under one who holds one was not read.
    pub supervision_unread: bool,
}

impl CredentialNeed {
    pub(crate) const fn area(&self) -> Option<AreaThreshold> {
        self.said.area
    }
}

impl Duty {
    pub const fn kind(&self) -> RuleKind {
        match self {
            Self::CapApplication(_) => RuleKind::CapApplication,
            Self::CapYear(_) => RuleKind::CapYear,
            Self::Window(_) => RuleKind::Window,
            Self::PhosphorusNeed(_) => RuleKind::PhosphorusNeed,
            Self::SoilReportBefore(_) => RuleKind::SoilReportBefore,
            Self::Setback(_) => RuleKind::Setback,
            Self::Ground(_) => RuleKind::Ground,
            Self::Rain(_) => RuleKind::Rain,
            Self::Alerts(_) => RuleKind::Alerts,
            Self::Heat(_) => RuleKind::Heat,
            Self::SlowShare(_) => RuleKind::SlowShare,
            Self::HoldAfterSeeding(_) => RuleKind::HoldAfterSeeding,
            Self::Surface(_) => RuleKind::Surface,
            Self::Release(_) => RuleKind::Release,
            Self::Interval(_) => RuleKind::Interval,
            Self::CountYear(_) => RuleKind::CountYear,
            Self::PlanNeed(_) => RuleKind::PlanNeed,
            Self::CredentialNeed(_) => RuleKind::CredentialNeed,
            Self::Disclosure(duty) => duty.kind(),
        }
    }

    /// Whether it holds only on ground that no fact tells apart, so that it asks and never stops.
    pub(crate) const fn is_of_some_ground(&self) -> bool {
        match self {
            Self::Setback(duty) => duty.only_where.is_some(),
            Self::SlowShare(duty) => duty.only_where.is_some(),
            _ => false,
        }
    }

    /// Whether a product is of the kind this duty speaks of.
    pub fn concerns(&self, label: &Label) -> bool {
        let any = |nutrients: &[Nutrient]| {
            nutrients.is_empty() || nutrients.iter().any(|nutrient| nutrient.share(label).raw() > 0)
        };
        match self {
            Self::CapApplication(duty) => any(&[duty.nutrient]),
            Self::CapYear(duty) => any(&[duty.nutrient]),
            Self::Window(duty) => duty.caps.iter().any(|(nutrient, _)| nutrient.share(label).raw() > 0),
            Self::PhosphorusNeed(duty) => label.phosphate_percent > duty.threshold,
            Self::SoilReportBefore(duty) => any(&[duty.nutrient]),
            Self::Setback(duty) => any(&duty.nutrients),
            Self::Ground(duty) => any(&duty.nutrients),
            Self::Rain(duty) => any(&duty.nutrients),
            Self::Alerts(duty) => any(&duty.nutrients),
            Self::Heat(duty) => any(&[duty.nutrient]),
            Self::SlowShare(duty) => {
                any(&[Nutrient::NitrogenTotal]) || duty.phosphorus_at_most.is_some() && any(&[Nutrient::Phosphate])
            }
            Self::HoldAfterSeeding(duty) => any(&[duty.nutrient]),
            Self::Surface(nutrients) => any(nutrients),
            Self::Release(duty) => any(&[duty.nutrient]),
            Self::Interval(duty) => any(&[duty.nutrient]),
            Self::CountYear(duty) => any(&[duty.nutrient]),
            Self::PlanNeed(_) => any(&[Nutrient::AnyFertilizer]),
            Self::CredentialNeed(duty) => any(&duty.nutrients),
            Self::Disclosure(_) => false,
        }
    }
}
