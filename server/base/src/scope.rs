//! Which clients' data somebody may read.

use domain::{
    actor::{Actor, Role},
    ids::{PassId, PersonId},
};

/// Which clients' data somebody may read. Every read of client data asks for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scope {
    /// All of the company's.
    Company,
    /// The properties on this person's visits.
    VisitsOf(PersonId),
    /// The properties of the clients that a pass names.
    ClientsOf(PassId),
}

impl Scope {
    pub fn of(actor: Actor) -> Self {
        match actor.role {
            Role::Owner | Role::Office => Self::Company,
            Role::Technician => Self::VisitsOf(actor.person),
        }
    }

    /// Who stands beside the properties that may be read, as the store's statements take it; nobody where all may be.
    pub fn viewer(self) -> Option<String> {
        match self {
            Self::Company => None,
            Self::VisitsOf(person) => Some(person.to_string()),
            Self::ClientsOf(pass) => Some(pass.to_string()),
        }
    }
}
