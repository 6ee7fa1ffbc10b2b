//! What is to be put down, or was: the facts that rules judge.

use serde::{Deserialize, Serialize};

use crate::{
    equipment::Equipment,
    ids::SectionId,
    land::SectionFacts,
    product::{Label, Nutrients},
    quantity::{Area, ProductMass},
    time::{Day, Instant},
    weather::Weather,
};

/// Why the product goes down. Several laws let phosphorus through for one purpose and not for another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Purpose {
    /// Feeding an established lawn.
    Maintenance,
    /// First establishment of turf on bare ground, in its first growing season.
    Establishment,
    /// Repair or renovation of damaged turf.
    Repair,
}

/// The state of the ground as a person saw it. No forecast knows this.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Ground {
    Dry,
    Moist,
    Saturated,
    /// Frozen to less than two inches, or to a depth that nobody has measured.
    Frozen,
    /// Frozen two inches deep or more.
    FrozenTwoInches,
    SnowCovered,
}

impl Ground {
    /// How a sentence calls it.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Dry => "dry",
            Self::Moist => "moist",
            Self::Saturated => "saturated",
            Self::Frozen => "frozen",
            Self::FrozenTwoInches => "frozen two inches deep or more",
            Self::SnowCovered => "covered with snow",
        }
    }
}

/// Whether the applicator works for hire. Several laws bind the two differently.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Audience {
    Professional,
    Household,
}

/// A licence or certificate as rules read it: several laws bind its holder differently.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeldCredential {
    /// The code by which rule files call it, such as `us-md-professional`.
    pub code: String,
    pub valid_from: Day,
    /// The last day on which it is valid; nothing when it has no end.
    pub valid_until: Option<Day>,
}

impl HeldCredential {
    /// Whether it is valid on a day. One that ran out yesterday excuses nothing today.
    pub fn is_valid_on(&self, day: Day) -> bool {
        is_valid_on(self.valid_from, self.valid_until, day)
    }
}

/// Whether a day lies between the first and the last on which something is valid, both among them.
pub fn is_valid_on(from: Day, until: Option<Day>, day: Day) -> bool {
    from <= day && until.is_none_or(|until| day <= until)
}

/// One section's share of an application.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LineFacts {
    pub section: SectionFacts,
    /// Ground that is treated: the whole section or a part of it.
    pub area: Area,
    pub product: ProductMass,
}

/// Everything a decision is made from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Facts {
    /// Local civil day of application. It decides the law.
    pub on: Day,
    /// The moment the question is about: now for a check, the start of work for a record.
    pub at: Instant,
    pub audience: Audience,
    /// What the applicator holds, whether it is valid on the day or not.
    pub credentials: Vec<HeldCredential>,
    pub purpose: Purpose,
    pub equipment: Equipment,
    pub label: Label,
    pub weather: Weather,
    /// As seen by a person; nothing when nobody has looked yet.
    pub ground: Option<Ground>,
    /// Whether product on pavement was swept or blown back; nothing before the work is done.
    pub pavement_cleaned: Option<bool>,
    pub lines: Vec<LineFacts>,
}

/// An earlier application on a section, or room that another clearance holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PastApplication {
    pub on: Day,
    pub area: Area,
    pub nutrients: Nutrients,
    pub enhanced_efficiency: bool,
    pub organic: bool,
    pub purpose: Purpose,
    /// Room held by a clearance, not yet put down.
    pub held: bool,
}

impl LineFacts {
    pub fn section_id(&self) -> SectionId {
        self.section.id
    }

    /// What this line delivers.
    pub fn nutrients(&self, label: &Label) -> Nutrients {
        label.nutrients_in(self.product)
    }
}
