//! The first page of a server that is not set up yet: the company and its owner, with the code that the server printed.

use askama::Template;
use axum::{
    extract::State,
    response::{IntoResponse, Redirect, Response},
};
use serde_json::json;

use crate::{
    access::{Anyone, OwnPage},
    api::sessions::{self, Browser, Peer},
    extract::{self, Valid},
    pages::{
        form::{Field, Form, FormData},
        page,
        properties::zones,
        sessions::onward,
    },
    problem::Problem,
    reply::ErrorPageRendered,
    state::App,
    store,
};

#[derive(Template)]
#[template(path = "setup.html")]
struct SetUpPage {
    form: Form,
}

fn form() -> Form {
    let fields = vec![
        Field::line("/setup_code", "Set-up code").help("The server printed it when it started, such as ABCDE-FGHJK-LMNPQ-RSTUV-WXYZ2-3. Starting it again prints a new one."),
        Field::line("/company_name", "Company"),
        Field::one("/time_zone", "Time zone of the office", zones("")).help("It decides on which day the office works. It cannot be changed later."),
        Field::line("/owner_name", "Your name").under("The owner").help("As it stands on records and statements."),
        Field::line("/sign_in/name", "Name to sign in with"),
        Field::password("/sign_in/password", "Password")
            .help("Fifteen characters or more, such as a few words that have nothing to do with you or the company."),
    ];
    Form::new("Set up this server", "/setup", "Set up", fields)
}

/// Whether a company is there already.
pub async fn is_done(app: &App) -> Result<bool, Problem> {
    Ok(store::people::company(app.store.reader()).await?.is_some())
}

pub async fn ask(_: Anyone, State(app): State<App>) -> Result<Response, Problem> {
    if is_done(&app).await? {
        return Ok(Redirect::to("/office").into_response());
    }
    Ok(page(SetUpPage { form: form() }.render()))
}

/// Sets the company up, signs the owner in, and goes to the first steps.
pub async fn set_up(
    _: Anyone,
    _: OwnPage,
    State(app): State<App>,
    peer: Peer,
    browser: Browser,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = form().sent(&sent);
    let address = peer.0;
    let done = async { sessions::create_company(Anyone, State(app.clone()), peer, form.valid(&app)?).await };
    if let Err(problem) = done.await {
        return refuse(form, &problem).ok_or(problem);
    }
    let typed = |name: &str| sent.one(name).unwrap_or_default();
    let body = json!({ "name": typed("/sign_in/name"), "password": typed("/sign_in/password"), "in_browser": true });
    let valid = Valid { fingerprint: String::new(), value: extract::checked_body(&app, body)? };
    let signed_in = sessions::create_session(Anyone, State(app.clone()), Peer(address), browser, valid).await?;
    Ok(onward(signed_in.headers(), "/office"))
}

/// The form again with every fault; nothing where the fault is not one that a person can mend here.
fn refuse(form: Form, problem: &Problem) -> Option<Response> {
    let form = form.with_faults(problem)?;
    let mut again = page(SetUpPage { form }.render());
    *again.status_mut() = problem.status();
    again.extensions_mut().insert(ErrorPageRendered);
    Some(again)
}
