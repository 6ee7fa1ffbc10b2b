//! Who acts, and what kind of person that is.

use serde::{Deserialize, Serialize};

use crate::ids::{DeviceId, PersonId};

/// What a person does in the company, which decides what they may see and change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Walks the lawns: own visits, checks, clearances and records.
    Technician,
    /// Keeps clients, lawns, soil reports, products, stock and visits.
    Office,
    /// Answers for everything: people, reviews, statements and the journal too.
    Owner,
}

impl Role {
    /// How a page calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Technician => "technician",
            Self::Office => "office",
            Self::Owner => "owner",
        }
    }
}

/// A person acting through a device or a session.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Actor {
    pub person: PersonId,
    pub role: Role,
    /// The enrolled phone, if the person came through one.
    pub device: Option<DeviceId>,
}
