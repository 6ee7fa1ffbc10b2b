//! Which clients' data a person may read.

use domain::{
    actor::{Actor, Role},
    ids::PersonId,
};

/// Which clients' data a person may read. Every read of client data asks for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scope {
    /// All of the company's.
    Company,
    /// The properties on this person's visits.
    VisitsOf(PersonId),
}

impl Scope {
    pub fn of(actor: Actor) -> Self {
        match actor.role {
            Role::Owner | Role::Office => Self::Company,
            Role::Technician => Self::VisitsOf(actor.person),
        }
    }

    /// The person to whose visits a read is limited, as the store's statements take it.
    pub fn person(self) -> Option<String> {
        match self {
            Self::Company => None,
            Self::VisitsOf(person) => Some(person.to_string()),
        }
    }
}
