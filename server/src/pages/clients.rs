//! Clients, as the office enters and corrects them.

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use domain::ids;

use crate::{
    api,
    extract::PathId,
    pages::{
        form::{Field, Form, FormData},
        history,
        listing::{Column, Layout, ListQuery, Listed, SortKey},
        office::{ALL_ROWS, ROWS, dates},
        office_session::OfficeSession,
        page,
    },
    problem::Problem,
    scope::Scope,
    state::App,
    store::{self, clients::Client, properties::Property, settings::DateOrder},
    version::Versioned,
};

/// The fields of a client.
pub fn fields() -> Vec<Field> {
    vec![
        Field::line("/name", "Name"),
        Field::lines("/mailing_address", "Mailing address"),
        Field::telephone("/phone", "Telephone").optional(),
        Field::line("/email", "E-mail").optional(),
        Field::day("/cancelled_on", "Service ends on")
            .optional()
            .help("From that day on nothing is applied for this client."),
    ]
}

fn blank() -> Form {
    Form::new("A new client", "/office/clients/new", "Add the client", fields()).back("/office/clients")
}

fn stored_form(client: &Client) -> Form {
    let id = client.id;
    let fields = fields().into_iter().chain([history::since()]).collect();
    Form::new(format!("Change {}", client.name), format!("/office/clients/{id}"), "Save", fields)
        .filled(client, client.version())
        .back(format!("/office/clients/{id}"))
}

/// A client of the book.
pub async fn get(app: &App, id: ids::ClientId) -> Result<Client, Problem> {
    let found = store::clients::get(app.store.reader(), id, Scope::Company).await?;
    found.ok_or_else(|| Problem::not_found("client"))
}

#[derive(Template)]
#[template(path = "clients.html")]
struct Clients {
    dates: DateOrder,
    listed: Listed<Client>,
}

const LAYOUT: Layout<Client> = Layout {
    path: "/office/clients",
    columns: &[
        Column { code: "name", words: "Client", is_number: false, key: |client| SortKey::text(&client.name) },
        Column {
            code: "address",
            words: "Mailing address",
            is_number: false,
            key: |client| SortKey::text(&client.mailing_address),
        },
        Column {
            code: "phone",
            words: "Telephone",
            is_number: false,
            key: |client| client.phone.as_deref().map_or(SortKey::Nothing, SortKey::text),
        },
        Column {
            code: "service",
            words: "Service",
            is_number: false,
            key: |client| client.cancelled_on.map_or(SortKey::Nothing, |day| SortKey::Text(day.to_string())),
        },
    ],
    kinds: &[
        ("served", "without an end of service", |client| client.cancelled_on.is_none()),
        ("ending", "with an end of service", |client| client.cancelled_on.is_some()),
    ],
    texts: |client| {
        let others = [client.phone.as_deref(), client.email.as_deref()];
        [client.name.as_str(), client.mailing_address.as_str()]
            .into_iter()
            .chain(others.into_iter().flatten())
            .collect()
    },
};

/// All clients, or those that are asked for.
pub async fn list(
    _: OfficeSession,
    State(app): State<App>,
    Query(asked): Query<ListQuery>,
) -> Result<Response, Problem> {
    let rows = store::clients::list(app.store.reader(), ALL_ROWS, Scope::Company).await?;
    let listed = Listed::of(&LAYOUT, asked, rows.into_iter().map(|row| row.item).collect());
    Ok(page(Clients { dates: dates(&app).await?, listed }.render()))
}

pub async fn new(_: OfficeSession, State(app): State<App>) -> Response {
    blank().once(&app).show()
}

pub async fn add(desk: OfficeSession, State(app): State<App>, sent: FormData) -> Result<Response, Problem> {
    let form = blank().sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::clients::create_client(desk.office(), State(app.clone()), key, valid).await
    };
    let done = done.await;
    form.made(&app, done, |id| format!("/office/clients/{id}"))
}

#[derive(Template)]
#[template(path = "client.html")]
struct ClientPage {
    client: Client,
    properties: Vec<Property>,
    form: Form,
}

/// A client, the properties, and the form that corrects it.
pub async fn one(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Client>,
) -> Result<Response, Problem> {
    let client = get(&app, id).await?;
    let rows = store::properties::list(app.store.reader(), ROWS, Some(id), Scope::Company).await?;
    let properties = rows.into_iter().map(|row| row.item).collect();
    let form = stored_form(&client);
    Ok(page(ClientPage { client, properties, form }.render()))
}

pub async fn change(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Client>,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = stored_form(&get(&app, id).await?).sent(&sent);
    let done = async {
        let (version, valid) = form.asked_change(&app)?;
        api::clients::replace_client(desk.office(), State(app.clone()), PathId(id), version, valid).await
    };
    let done = done.await;
    form.changed(done, &stored_form(&get(&app, id).await?), &format!("/office/clients/{id}"))
}
