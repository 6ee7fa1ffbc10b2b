//! The own password, changed by whoever knows the old one.

use axum::{extract::State, response::Response};

use crate::{
    access::AnyStaff,
    api::{passwords, sessions::Peer},
    pages::{
        form::{Field, Form, FormData},
        office_session::OfficeSession,
        sessions::onward,
    },
    problem::Problem,
    state::App,
};

fn form() -> Form {
    let fields = vec![
        Field::password("/old", "Current password"),
        Field::password("/new", "New password")
            .help("Fifteen characters or more, such as a few words that have nothing to do with you."),
    ];
    Form::new("Change your password", "/office/password".to_owned(), "Change the password and sign in again", fields)
        .back("/office/people")
        .note("This signs you out everywhere, on this page and on your phone too. Records that a phone has not sent stay on it.")
}

pub async fn ask(_: OfficeSession) -> Response {
    form().show()
}

/// Changes it and goes to the sign-in, with the cookie taken away.
pub async fn change(
    desk: OfficeSession,
    State(app): State<App>,
    peer: Peer,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = form().sent(&sent);
    let done =
        async { passwords::replace_own_password(AnyStaff(desk.0), State(app.clone()), peer, form.valid(&app)?).await };
    let done = done.await;
    match done {
        Ok(changed) => Ok(onward(changed.headers(), "/sign-in")),
        Err(problem) => form.refuse(problem),
    }
}
