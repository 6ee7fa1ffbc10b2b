//! Passwords: argon2id with the parameters that OWASP's Password Storage Cheat Sheet gives as its minimum
//! (19 MiB, two passes, one lane), a few at a time.

use argon2::{Algorithm, Argon2, Params, PasswordHasher, PasswordVerifier, Version, password_hash::phc::PasswordHash};

mod guesses;

use guesses::is_guessable;

use crate::{
    problem::{FieldFault, Kind, Problem},
    state::App,
    store::people::SignIn,
};

fn argon2() -> Result<Argon2<'static>, Problem> {
    let params = Params::new(19_456, 2, 1, None).map_err(|error| fault(&error))?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

fn fault(error: &dyn std::fmt::Display) -> Problem {
    tracing::error!(%error, "password");
    Problem::new(Kind::Fault, "The server could not do this. It is logged under the request id.")
}

/// What is wrong with a new password that is easily guessed.
pub fn guessable(sign_in: &SignIn, company: &str) -> Option<FieldFault> {
    guessable_at("/sign_in/password", sign_in, company)
}

/// The same, where the password stands somewhere else in the body.
pub fn guessable_at(pointer: &str, sign_in: &SignIn, company: &str) -> Option<FieldFault> {
    let detail = "is easily guessed; take a few words that have nothing to do with the company or your name";
    is_guessable(&sign_in.password, &[company, &sign_in.name]).then(|| FieldFault::at(pointer, "guessable", detail))
}

/// The stored form of a new password. Nothing for somebody without a sign-in.
pub async fn hash_of(app: &App, sign_in: Option<&SignIn>) -> Result<Option<String>, Problem> {
    let Some(sign_in) = sign_in else { return Ok(None) };
    let _turn = app.throttle.hashing.acquire().await.map_err(|error| fault(&error))?;
    let password = sign_in.password.clone();
    let hashed = tokio::task::spawn_blocking(move || {
        argon2()?.hash_password(password.as_bytes()).map(|h| h.to_string()).map_err(|e| fault(&e))
    });
    hashed.await.map_err(|error| fault(&error))?.map(Some)
}

/// Whether a password is the stored one. Without a stored one it takes as long and says no.
pub async fn fits(app: &App, password: String, stored: Option<String>) -> Result<bool, Problem> {
    /// The hash of a password nobody has.
    const NOBODY: &str =
        "$argon2id$v=19$m=19456,t=2,p=1$c29tZSBzYWx0IGhlcmUu$J0bDxFVPnGkm2uGzXvyuZCCCqnMTDMc5a0TLVHZMkp0";
    let _turn = app.throttle.hashing.acquire().await.map_err(|error| fault(&error))?;
    let verified = tokio::task::spawn_blocking(move || {
        let text = stored.as_deref().unwrap_or(NOBODY);
        let hash = PasswordHash::new(text).map_err(|error| fault(&error))?;
        let fits = argon2()?.verify_password(password.as_bytes(), &hash).is_ok();
        Ok(fits && stored.is_some())
    });
    verified.await.map_err(|error| fault(&error))?
}
