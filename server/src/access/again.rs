//! What asks for the password again: an open screen, or a token that somebody found, is not enough to let others in or to shut them
//! out.

use axum::{extract::FromRequestParts, http::request::Parts};

use crate::{
    access::shown_token,
    problem::{Kind, Problem},
    secret::sha256,
    state::App,
    store,
};

/// Where a program shows the password again.
pub const CONFIRM_AT: &str = "/api/v1/sessions/current/confirmation";

/// Whether whoever asks has just shown the password: a program within the last minutes, for its session; a page in the same form.
#[derive(Debug, Clone, Copy)]
pub struct Confirmed(bool);

impl Confirmed {
    /// Nothing was typed where a page asks for it.
    pub const fn not() -> Self {
        Self(false)
    }

    /// The password was looked at, and is right.
    pub const fn just_now() -> Self {
        Self(true)
    }

    /// Refuses what needs it where it was not shown: `what` is what somebody wants to do.
    pub fn needed(self, what: &str) -> Result<(), Problem> {
        if self.0 {
            return Ok(());
        }
        let detail = format!(
            "To {what}, show your password again: send it to PUT {CONFIRM_AT}, and then send this again within five minutes."
        );
        Err(Problem::new(Kind::PasswordNeeded, detail).with_confirmation(CONFIRM_AT))
    }
}

impl FromRequestParts<App> for Confirmed {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let digest = sha256(shown_token(parts)?);
        Ok(Self(store::sessions::is_confirmed(app.store.quick_reader(), &digest, app.clock.now()).await?))
    }
}
