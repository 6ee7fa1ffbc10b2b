//! Passes: the owner makes and ends one, and whoever has it sees what it shows.

use askama::Template;
use axum::{
    extract::State,
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::{IntoResponse, Redirect, Response},
};
use domain::ids;

use crate::{
    access::{Anyone, CODE_OF_A_PASS, OwnPage, OwnToken, PASS_SESSION_PREFIX, PassHolder, cookie, tries},
    api::{self, passes, sessions::Peer},
    book::{
        journal::{self, JournalState},
        receipts::{self, Receipt},
    },
    extract::PathId,
    pages::{
        form::{Choice, Field, Form, FormData},
        local::Local,
        office::{self, ALL_ROWS, NEWEST},
        office_session::OwnerSession,
        page, passwords,
    },
    problem::Problem,
    reply::ErrorPageRendered,
    scope::Scope,
    secret::{code_hash, new_token_of, sha256},
    state::App,
    store::{
        self,
        clients::Client,
        passes::Pass,
        security_log::{NewSecurityEvent, SecurityEventKind},
    },
    throttle, zone,
};

/// A pass as a page shows it.
struct Shown {
    pass: Pass,
    shows: String,
    until: String,
    /// How it ended; nothing while it is good.
    over: Option<String>,
}

fn shown(pass: Pass, clients: &[Client], app: &App, local: &Local, dates: store::settings::DateOrder) -> Shown {
    let names = clients.iter().filter(|client| pass.client_ids.contains(&client.id)).map(|client| client.name.clone());
    let shows = if pass.whole_company { "the whole company".to_owned() } else { names.collect::<Vec<_>>().join(", ") };
    let until = local.minute(pass.expires_at, dates);
    let ended = pass.ended_at.map(|at| format!("ended on {}", local.minute(at, dates)));
    let ran_out = (pass.expires_at <= app.clock.now()).then(|| format!("ended by itself on {until}"));
    Shown { over: ended.or(ran_out), shows, until, pass }
}

async fn clients(app: &App) -> Result<Vec<Client>, Problem> {
    let rows = store::clients::list(app.store.reader(), ALL_ROWS, Scope::Company).await?;
    Ok(rows.into_iter().map(|row| row.item).collect())
}

async fn clock(app: &App) -> Result<Local, Problem> {
    Ok(Local::of(&api::company(app).await?.1))
}

#[derive(Template)]
#[template(path = "passes.html")]
struct PassesPage {
    passes: Vec<Shown>,
}

pub async fn list(_: OwnerSession, State(app): State<App>) -> Result<Response, Problem> {
    let (clients, local, dates) = (clients(&app).await?, clock(&app).await?, office::dates(&app).await?);
    let rows = store::passes::list(app.store.reader(), NEWEST).await?;
    let passes = rows.into_iter().map(|row| shown(row.item, &clients, &app, &local, dates)).collect();
    Ok(page(PassesPage { passes }.render()))
}

async fn form(app: &App) -> Result<Form, Problem> {
    let choices =
        clients(app).await?.into_iter().map(|client| Choice::new(client.id.to_string(), client.name)).collect();
    let fields = vec![
        Field::line("/name", "Who gets it")
            .help("As it will stand in the security log, such as “Inspector, Department of Agriculture”."),
        Field::number("/days", "Good for how many days").help("1 to 90. It ends by itself; you can end it before."),
        Field::tick("/whole_company", "Show the whole company").under("What it shows"),
        Field::many("/client_ids", "Or only these clients", choices).optional(),
        Field::own_password("Only for a pass that shows the whole company."),
    ];
    Ok(Form::new("A new pass", "/office/passes/new".to_owned(), "Make the pass", fields)
        .back("/office/passes")
        .note("Whoever has it reads statements, records, lawns, soil reports, rule sets and how the journal stands, names and how to reach the clients below, and products with what is in stock. They can change nothing. Everything that is opened with it stands in the security log."))
}

pub async fn new(_: OwnerSession, State(app): State<App>) -> Result<Response, Problem> {
    Ok(form(&app).await?.show())
}

#[derive(Template)]
#[template(path = "pass_made.html")]
struct PassMade {
    shown: Shown,
    code: String,
}

/// Makes a pass and shows its code, this once.
pub async fn make(desk: OwnerSession, State(app): State<App>, peer: Peer, sent: FormData) -> Result<Response, Problem> {
    let form = form(&app).await?.sent(&sent);
    let done = async {
        let confirmed = passwords::confirmed(&app, desk.0, &peer, &form).await?;
        passes::new_pass(desk.owner(), &app, confirmed, form.valid(&app)?.value).await
    };
    let done = done.await;
    match done {
        Ok(made) => {
            let (clients, local, dates) = (clients(&app).await?, clock(&app).await?, office::dates(&app).await?);
            Ok(page(PassMade { shown: shown(made.pass, &clients, &app, &local, dates), code: made.code }.render()))
        }
        Err(problem) => form.refuse(problem),
    }
}

async fn end_form(app: &App, id: ids::PassId) -> Result<Form, Problem> {
    let pass = store::passes::get(app.store.reader(), id).await?.ok_or_else(|| Problem::not_found("pass"))?;
    let title = format!("End the pass of {}", pass.name);
    Ok(Form::new(title, format!("/office/passes/{id}/end"), "End this pass", Vec::new())
        .back("/office/passes")
        .note("It ends at once. What was read with it stays in the security log."))
}

pub async fn ask_end(
    _: OwnerSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Pass>,
) -> Result<Response, Problem> {
    Ok(end_form(&app, id).await?.show())
}

pub async fn end(
    desk: OwnerSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Pass>,
) -> Result<Response, Problem> {
    let _ = passes::end_pass(desk.owner(), State(app), PathId(id)).await?;
    Ok(Redirect::to("/office/passes").into_response())
}

#[derive(Template)]
#[template(path = "inspector_code.html")]
struct InspectorCode {
    fault: String,
}

#[derive(Template)]
#[template(path = "inspector.html")]
struct InspectorPage {
    company: String,
    shown: Shown,
    clients: Vec<Client>,
    year: i16,
    journal: JournalState,
    journal_at: Option<String>,
    receipt: Receipt,
    outside: bool,
}

/// What a pass shows; to everybody else the question for its code.
pub async fn inspector(
    _: Anyone,
    State(app): State<App>,
    holder: Result<PassHolder, Problem>,
) -> Result<Response, Problem> {
    let pass = match holder {
        Ok(PassHolder(pass)) => pass,
        Err(problem) if matches!(problem.status, 401 | 403) => {
            return Ok(page(InspectorCode { fault: String::new() }.render()));
        }
        Err(problem) => return Err(problem),
    };
    let scope = if pass.whole_company { Scope::Company } else { Scope::ClientsOf(pass.id) };
    let (company, zone) = api::company(&app).await?;
    let (local, dates) = (Local::of(&zone), office::dates(&app).await?);
    let year = app.clock.now().day_in(&zone::of_company(&zone)?).year();
    let rows = store::clients::list(app.store.reader(), ALL_ROWS, scope).await?;
    let clients: Vec<Client> = rows.into_iter().map(|row| row.item).collect();
    let journal = journal::state(&app.store).await?;
    let journal_at = journal.last_at.map(|at| local.minute(at, dates));
    let receipt = receipts::now(&app).await?;
    let shown = shown(pass, &clients, &app, &local, dates);
    Ok(page(InspectorPage { company, shown, clients, year, journal, journal_at, receipt, outside: true }.render()))
}

/// Takes a code and lets its browser in for as long as the pass is good and somebody uses it.
pub async fn enter(
    _: Anyone,
    _: OwnPage,
    State(app): State<App>,
    peer: Peer,
    sent: FormData,
) -> Result<Response, Problem> {
    tries::limited_code(&app, CODE_OF_A_PASS, peer.0).await?;
    let (code, now) = (sent.one("code").unwrap_or_default(), app.clock.now());
    let Some(pass) = store::passes::by_code(app.store.reader(), &code_hash(&code), now).await? else {
        tries::failed_code(&app, CODE_OF_A_PASS, peer.0).await;
        let fault = "This code is not known, or its pass has ended. Ask the company for a new one.".to_owned();
        let mut again = page(InspectorCode { fault }.render());
        *again.status_mut() = StatusCode::UNAUTHORIZED;
        again.extensions_mut().insert(ErrorPageRendered);
        return Ok(again);
    };
    let seconds = (pass.expires_at.millis() - now.millis()) / 1000;
    let token = new_token_of(PASS_SESSION_PREFIX)?;
    let session = sha256(&token);
    let event = NewSecurityEvent { pass: Some(pass.id), ..NewSecurityEvent::of(SecurityEventKind::PassOpened) }
        .named(&pass.name);
    let event = event.from(throttle::shown(peer.0));
    app.store
        .write(move |connection| {
            Box::pin(async move {
                store::passes::insert_session(&mut *connection, &session, pass.id, now).await?;
                Ok(store::security_log::insert(connection, now, event).await?)
            })
        })
        .await?;
    Ok(to_inspector(&cookie(&token, seconds)))
}

/// Takes the pass out of this browser, whose session ends; the pass stays good.
pub async fn leave(
    _: Anyone,
    _: OwnPage,
    State(app): State<App>,
    token: Result<OwnToken, Problem>,
) -> Result<Response, Problem> {
    if let Ok(OwnToken(token)) = token
        && token.starts_with(PASS_SESSION_PREFIX)
    {
        let (session, at) = (sha256(&token), app.clock.now());
        app.store
            .write(move |connection| {
                Box::pin(async move { Ok(store::passes::end_session(connection, &session, at).await?) })
            })
            .await?;
    }
    Ok(to_inspector(&cookie("", 0)))
}

fn to_inspector(cookie: &str) -> Response {
    let mut headers = HeaderMap::new();
    if let Ok(cookie) = HeaderValue::from_str(cookie) {
        headers.insert(header::SET_COOKIE, cookie);
    }
    (headers, Redirect::to("/inspector")).into_response()
}
