//! Passes: leave for somebody from outside, such as an inspector, to read for a while.

use axum::{
    Json,
    extract::State,
    http::StatusCode,
    response::{IntoResponse, Response},
};
use domain::ids::{self, PassId};
use jiff::SignedDuration;
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    access::{OwnerOnly, PASS_PREFIX, PassHolder, again::Confirmed},
    api::{ListQuery, company, sessions::no_store, whole},
    book::{
        journal::{self, JournalState},
        office,
    },
    extract::{PathId, Valid, ValidQuery},
    paging::Page,
    problem::{FieldFault, Problem},
    routes::{Routes, routes},
    scope::Scope,
    secret::{code_hash, new_code},
    state::App,
    store::{
        self,
        journal::JournalContext,
        passes::{Pass, PassInput},
        security_log::{NewSecurityEvent, SecurityEventKind},
    },
};

pub fn routes() -> Routes {
    routes!(create_pass, list_passes, end_pass, get_own_pass)
}

/// A new pass and its code.
#[derive(Debug, Serialize, ToSchema)]
pub struct NewPass {
    pub pass: Pass,
    /// To be typed at `/inspector` of this server. Shown once; only its hash is kept.
    #[schema(max_length = 60, example = "ABCDE-FGHJK-LMNPQ-RSTUV-WXYZ2-3")]
    pub code: String,
    /// The same for a program: send it as `Authorization: Bearer`.
    #[schema(max_length = 80, example = "pass_ABCDEFGHJKLMNPQRSTUVWXYZ23")]
    pub token: String,
}

/// The token that a code stands for.
pub fn token_of(code: &str) -> String {
    let plain = code.chars().filter(char::is_ascii_alphanumeric);
    format!("{PASS_PREFIX}{}", plain.collect::<String>().to_ascii_uppercase())
}

fn faults(input: &PassInput) -> Vec<FieldFault> {
    let place = |at| format!("/client_ids/{at}");
    let mut faults = FieldFault::repeats(&input.client_ids, place, "stands in the list already");
    match (input.whole_company, input.client_ids.is_empty()) {
        (true, false) => {
            let detail = "names clients although the whole company is shown; give one of the two";
            faults.push(FieldFault::at("/client_ids", "contradiction", detail));
        }
        (false, true) => {
            let detail = "names nobody: choose the clients whose lawns are shown, or the whole company";
            faults.push(FieldFault::at("/client_ids", "missing", detail));
        }
        _ => {}
    }
    faults
}

/// Create a pass
///
/// Leave to read for somebody from outside, such as an inspector: statements, records, lawns, rule sets and the state of the journal, of named
/// clients or of the whole company, for a number of days. It ends by itself and can be ended before. Everything that is read with it
/// stands in the security log. The code is shown once. One for the whole company asks for the password again: 403 `password-needed`.
#[utoipa::path(post, path = "/api/v1/passes", operation_id = "create_pass", tag = "people", security(("bearer" = ["owner"])),
    request_body = PassInput, responses((status = 201, description = "Made.", body = NewPass)))]
async fn create_pass(
    owner: OwnerOnly,
    State(app): State<App>,
    confirmed: Confirmed,
    Valid { value, .. }: Valid<PassInput>,
) -> Result<Response, Problem> {
    let made = new_pass(owner, &app, confirmed, value).await?;
    Ok((StatusCode::CREATED, no_store(), Json(made)).into_response())
}

/// Makes and stores a pass, for the API and for the owner's page.
pub async fn new_pass(
    OwnerOnly(actor): OwnerOnly,
    app: &App,
    confirmed: Confirmed,
    input: PassInput,
) -> Result<NewPass, Problem> {
    let mut faults = faults(&input);
    let code = new_code()?;
    let at = app.clock.now();
    let id: PassId = app.ids.next(at);
    let digest = code_hash(&code);
    let deed = JournalContext { actor: Some(actor), at, act: "pass.made", subject: id.uuid() };
    let pass = office::change(app, deed, move |connection| {
        Box::pin(async move {
            for (place, client) in input.client_ids.iter().enumerate() {
                if store::clients::get(&mut *connection, *client, Scope::Company).await?.is_none() {
                    let pointer = format!("/client_ids/{place}");
                    faults.push(FieldFault::at(pointer, "not_found", "names no client of this company"));
                }
            }
            whole(faults)?;
            if input.whole_company {
                confirmed.needed("make a pass for the whole company")?;
            }
            let pass = Pass {
                id,
                name: input.name,
                whole_company: input.whole_company,
                client_ids: input.client_ids,
                made_by: actor.person,
                created_at: at,
                expires_at: at.plus(SignedDuration::from_hours(24 * i64::from(input.days))),
                ended_at: None,
            };
            store::passes::insert(&mut *connection, &pass, &digest).await?;
            let event = NewSecurityEvent {
                pass: Some(id),
                by: Some(actor.person),
                ..NewSecurityEvent::of(SecurityEventKind::PassMade)
            };
            store::security_log::insert(&mut *connection, at, event.named(&pass.name)).await?;
            // Read again, so that the journal has it as it will be found: with its clients in their order.
            store::passes::get(connection, id).await?.ok_or_else(|| Problem::not_found("pass"))
        })
    })
    .await?;
    let token = token_of(&code);
    Ok(NewPass { pass, code, token })
}

/// List passes
///
/// The newest first, those that have ended too.
#[utoipa::path(get, path = "/api/v1/passes", operation_id = "list_passes", tag = "people", security(("bearer" = ["owner"])),
    params(ListQuery), responses((status = 200, description = "A page of passes.", body = Page<Pass>)))]
async fn list_passes(
    _: OwnerOnly,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<Pass>>, Problem> {
    let span = app.cursors.span("passes", &query, true)?;
    let rows = store::passes::list(app.store.reader(), span).await?;
    Ok(Json(app.cursors.page("passes", &query, rows)))
}

/// End a pass
///
/// At once. Ending it again changes nothing.
#[utoipa::path(delete, path = "/api/v1/passes/{id}", operation_id = "end_pass", tag = "people", security(("bearer" = ["owner"])),
    params(("id" = PassId, Path, description = "The pass.")), responses((status = 200, description = "Ended.", body = Pass)))]
pub async fn end_pass(
    OwnerOnly(actor): OwnerOnly,
    State(app): State<App>,
    PathId(id): PathId<ids::Pass>,
) -> Result<Json<Pass>, Problem> {
    let at = app.clock.now();
    let deed = JournalContext { actor: Some(actor), at, act: "pass.ended", subject: id.uuid() };
    let ended = office::change_once(&app, deed, move |connection| {
        Box::pin(async move {
            let changed = store::passes::end(&mut *connection, id, actor.person, at).await?;
            let pass = store::passes::get(&mut *connection, id).await?.ok_or_else(|| Problem::not_found("pass"))?;
            if changed {
                let event = NewSecurityEvent {
                    pass: Some(id),
                    by: Some(actor.person),
                    ..NewSecurityEvent::of(SecurityEventKind::PassEnded)
                };
                store::security_log::insert(connection, at, event.named(&pass.name)).await?;
            }
            Ok((pass, changed))
        })
    });
    ended.await.map(Json)
}

/// What somebody with a pass may read, and how the journal stands.
#[derive(Debug, Serialize, ToSchema)]
struct OwnPass {
    pass: Pass,
    #[schema(max_length = 120)]
    company_name: String,
    journal: JournalState,
}

/// Get the own pass
///
/// For whoever has one: what it shows, until when, and whether the journal of the company's records fits together.
#[utoipa::path(get, path = "/api/v1/passes/current", operation_id = "get_own_pass", tag = "people", security(("bearer" = ["pass"])),
    responses((status = 200, description = "The pass.", body = OwnPass)))]
async fn get_own_pass(PassHolder(pass): PassHolder, State(app): State<App>) -> Result<Json<OwnPass>, Problem> {
    let (company_name, _) = company(&app).await?;
    Ok(Json(OwnPass { pass, company_name, journal: journal::state(&app.store).await? }))
}
