//! Tries at the door: counted before anything is looked at, refused where there were too many, and told to the security log.

use std::net::IpAddr;

use crate::{
    problem::Problem,
    state::App,
    store::{
        self,
        security_log::{NewSecurityEvent, SecurityEventKind},
    },
    throttle,
};

/// Refuses a try to sign in where there were too many, and tells the security log.
pub async fn limited(app: &App, name: &str, address: Option<IpAddr>) -> Result<(), Problem> {
    let mut counted = app.throttle.count(name, address);
    if counted.is_ok() {
        let shown = throttle::shown(address);
        let known = store::security_log::has_signed_in(app.store.reader(), name, shown.as_deref()).await?;
        if !known {
            counted = app.throttle.count_stranger(name);
        }
    }
    if counted.is_err() && app.throttle.is_to_be_told(address) {
        let is_known = store::people::by_sign_in(app.store.reader(), name).await?.is_some();
        let event = NewSecurityEvent::of(SecurityEventKind::SignInLimited).tried_as(name, is_known);
        note(app, event.from(throttle::shown(address))).await;
    }
    counted
}

/// The same for a one-time code or the code of a pass, which has no name: by address, and of addresses from which nobody was let in
/// before by all together.
pub async fn limited_code(app: &App, what: &'static str, address: Option<IpAddr>) -> Result<(), Problem> {
    let mut counted = app.throttle.count_address(address);
    if counted.is_ok() && !store::security_log::came_from(app.store.reader(), throttle::shown(address)).await? {
        counted = app.throttle.count_code_of_stranger();
    }
    if counted.is_err() && app.throttle.is_to_be_told(address) {
        let event = NewSecurityEvent::of(SecurityEventKind::SignInLimited).from(throttle::shown(address));
        note(app, event.saying(what)).await;
    }
    counted
}

/// Tells the security log of a code that let nobody in.
pub async fn failed_code(app: &App, what: &'static str, address: Option<IpAddr>) {
    let event = NewSecurityEvent::of(SecurityEventKind::SignInFailed).from(throttle::shown(address));
    note(app, event.saying(what)).await;
}

/// Writes a line that belongs to no other write. What cannot be written is told in the log; it undoes nothing.
pub async fn note(app: &App, event: NewSecurityEvent) {
    let at = app.clock.now();
    let written = app.store.write(move |connection| {
        Box::pin(async move { Ok(store::security_log::insert(connection, at, event).await?) })
    });
    if let Err(problem) = written.await {
        tracing::error!(detail = problem.detail, "a line of the security log could not be written");
    }
}
