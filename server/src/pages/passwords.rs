//! The own password, changed by whoever knows the old one.

use askama::Template;
use axum::{
    extract::State,
    http::HeaderMap,
    response::{IntoResponse, Response},
};
use domain::ids;
use serde_json::json;

use crate::{
    access::{AnyStaff, Anyone, OwnPage, again::Confirmed},
    api::{
        passwords::{self, PasswordCode},
        sessions::Peer,
    },
    extract::{self, PathId, Valid},
    pages::{
        form::{Field, Form, FormData, OWN_PASSWORD},
        office_session::{OfficeSession, OwnerSession},
        page, people,
        sessions::onward,
    },
    problem::{FieldFault, Problem},
    reply::ErrorPageRendered,
    state::App,
    store::people::Person,
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

/// Whether somebody typed the own password into a form that asks for it again.
pub(super) async fn confirmed(app: &App, desk: OfficeSession, peer: &Peer, form: &Form) -> Result<Confirmed, Problem> {
    let typed = form.fields.iter().find(|field| field.name == OWN_PASSWORD).and_then(|field| field.value.first());
    let typed = typed.map(String::as_str).unwrap_or_default();
    passwords::confirmed_by(app, desk.0, peer.0, OWN_PASSWORD, typed).await
}

fn code_form(person: &Person) -> Form {
    let title = format!("A new password for {}", person.name);
    let again = Field::own_password("A code lets somebody in, so that an open screen is not enough to make one.");
    Form::new(title, format!("/office/people/{}/password-code", person.id), "Make a code", vec![again])
        .back("/office/people")
        .note("With the code this person sets a new password, which you never learn. It works once, and for a day.")
        .note("The old password holds until then. To keep somebody out at once, answer “Works here” with “No”.")
}

pub async fn ask_code(
    _: OwnerSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Person>,
) -> Result<Response, Problem> {
    Ok(code_form(&people::get(&app, id).await?).show())
}

#[derive(Template)]
#[template(path = "password_code.html")]
struct CodePage {
    person: Person,
    made: PasswordCode,
}

/// Makes a code and shows it, this once.
pub async fn make_code(
    desk: OwnerSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Person>,
    peer: Peer,
    sent: FormData,
) -> Result<Response, Problem> {
    let person = people::get(&app, id).await?;
    let form = code_form(&person).sent(&sent);
    let done = async {
        let confirmed = confirmed(&app, desk.0, &peer, &form).await?;
        passwords::new_password_code(desk.owner(), &app, confirmed, id).await
    };
    let done = done.await;
    match done {
        Ok(made) => Ok(page(CodePage { person, made }.render())),
        Err(problem) => form.refuse(problem),
    }
}

#[derive(Template)]
#[template(path = "new_password.html")]
struct NewPassword {
    faults: Vec<String>,
}

pub async fn forgotten(_: Anyone) -> Response {
    page(NewPassword { faults: Vec::new() }.render())
}

/// Sets a new password with a code and goes to the sign-in.
pub async fn set_forgotten(
    _: Anyone,
    own: OwnPage,
    State(app): State<App>,
    peer: Peer,
    sent: FormData,
) -> Result<Response, Problem> {
    let OwnPage = own;
    let body = json!({ "code": sent.one("code").unwrap_or_default(), "new": sent.one("new").unwrap_or_default() });
    let done = async {
        let valid = Valid { fingerprint: String::new(), value: extract::checked_body(&app, body)? };
        passwords::replace_forgotten_password(Anyone, State(app.clone()), peer, valid).await
    };
    match done.await {
        Ok(_) => Ok(onward(&HeaderMap::new(), "/sign-in")),
        Err(problem) if matches!(problem.status, 409 | 422 | 429) => {
            let said = |fault: &FieldFault| {
                let what = if fault.pointer.as_deref() == Some("#/code") { "The code" } else { "The new password" };
                format!("{what} {}.", fault.detail.trim_end_matches('.'))
            };
            let mut faults: Vec<String> = problem.errors.iter().map(said).collect();
            if faults.is_empty() {
                faults.push(problem.detail.clone());
            }
            let mut again = page(NewPassword { faults }.render()).into_response();
            *again.status_mut() = problem.status();
            again.extensions_mut().insert(ErrorPageRendered);
            Ok(again)
        }
        Err(problem) => Err(problem),
    }
}
