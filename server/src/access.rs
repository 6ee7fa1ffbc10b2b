//! Who is calling, and what that lets them do. A handler's parameters say who may call it.

use axum::{extract::FromRequestParts, http::header, http::request::Parts};
use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use domain::{
    actor::{Actor, Role},
    ids::PersonId,
    journal::hex,
};
use sha2::{Digest, Sha256};

use crate::{
    app::App,
    problem::{Kind, Problem},
    store,
};

/// Any signed-in member of staff.
#[derive(Debug, Clone, Copy)]
pub struct AnyStaff(pub Actor);

/// The office or the owner.
#[derive(Debug, Clone, Copy)]
pub struct OfficeOrOwner(pub Actor);

/// The owner alone.
#[derive(Debug, Clone, Copy)]
pub struct OwnerOnly(pub Actor);

/// Nobody needs to be signed in. Written out, so that an open route is a choice that can be read.
#[derive(Debug, Clone, Copy)]
pub struct Anyone;

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

impl AnyStaff {
    pub fn scope(self) -> Scope {
        Scope::of(self.0)
    }
}

async fn actor(parts: &Parts, app: &App) -> Result<Actor, Problem> {
    let refused = |why: &str| Problem::new(Kind::NotSignedIn, why);
    let header = parts.headers.get(header::AUTHORIZATION).and_then(|v| v.to_str().ok());
    let header = header
        .ok_or_else(|| refused("Send `Authorization: Bearer` with the token of a session or an enrolled phone."))?;
    let token = header
        .split_once(' ')
        .filter(|(scheme, _)| scheme.eq_ignore_ascii_case("bearer"))
        .map(|(_, token)| token.trim())
        .ok_or_else(|| refused("The Authorization header must be `Bearer` and a token."))?;
    let found = store::people::actor_by_token(app.store.reader(), &hash(token), app.clock.now()).await?;
    found.ok_or_else(|| refused("The token is not known or has ended. Sign in, or enrol the phone again."))
}

impl FromRequestParts<App> for AnyStaff {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        actor(parts, app).await.map(Self)
    }
}

impl FromRequestParts<App> for OfficeOrOwner {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let actor = actor(parts, app).await?;
        match actor.role {
            Role::Office | Role::Owner => Ok(Self(actor)),
            Role::Technician => Err(Problem::new(Kind::NotAllowed, "This is for the office and the owner.")),
        }
    }
}

impl FromRequestParts<App> for OwnerOnly {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let actor = actor(parts, app).await?;
        match actor.role {
            Role::Owner => Ok(Self(actor)),
            Role::Office | Role::Technician => Err(Problem::new(Kind::NotAllowed, "This is for the owner.")),
        }
    }
}

impl FromRequestParts<App> for Anyone {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(_: &mut Parts, _: &App) -> Result<Self, Self::Rejection> {
        Ok(Self)
    }
}

/// A new token: 256 bits from the operating system, with a prefix by which a scanner for leaked secrets knows it.
pub fn new_token() -> Result<String, Problem> {
    random_text().map(|secret| format!("sward_{secret}"))
}

/// A one-time code of 128 bits, in groups that can be read aloud.
pub fn new_code() -> Result<String, Problem> {
    const ALPHABET: &[u8; 32] = b"ABCDEFGHJKLMNPQRSTUVWXYZ23456789";
    let mut bytes = [0_u8; 26];
    getrandom::fill(&mut bytes).map_err(|error| Problem::fault(&error))?;
    let letters: Vec<u8> = bytes.iter().map(|byte| ALPHABET[usize::from(byte % 32)]).collect();
    Ok(letters.chunks(5).map(String::from_utf8_lossy).collect::<Vec<_>>().join("-"))
}

fn random_text() -> Result<String, Problem> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes).map_err(|error| Problem::fault(&error))?;
    Ok(URL_SAFE_NO_PAD.encode(bytes))
}

/// What is stored of a one-time code. Case and the dashes between the groups do not matter: people type it.
pub fn code_hash(code: &str) -> String {
    let plain: String = code.chars().filter(char::is_ascii_alphanumeric).collect();
    hash(&plain.to_ascii_uppercase())
}

/// What is stored of a token.
pub fn hash(secret: &str) -> String {
    hex(&Sha256::digest(secret.as_bytes()))
}
