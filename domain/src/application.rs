//! What an application is for, on what ground, and who makes it.

use serde::{Deserialize, Serialize};

use crate::time::Day;

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

impl Purpose {
    /// What the work is, for a sentence.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Maintenance => "feeding an established lawn",
            Self::Establishment => "first establishment",
            Self::Repair => "repair of turf",
        }
    }
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
    pub const fn label(self) -> &'static str {
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

/// Who does the work. Several laws bind those who work for hire otherwise than the others.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Audience {
    /// Whoever works for hire.
    Professional,
    /// The owner's own people on ground that is no home: a golf course, a school, a town.
    OwnGround,
    Household,
}

/// Whether a day lies between the first and the last on which something is valid, both among them.
pub fn is_valid_on(from: Day, until: Option<Day>, day: Day) -> bool {
    from <= day && until.is_none_or(|until| day <= until)
}
