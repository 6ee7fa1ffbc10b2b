//! Who may see a page of the office and the owner, and the rule sets, which both read.

use askama::Template;
use axum::{
    extract::{FromRequestParts, State},
    http::request::Parts,
    response::{IntoResponse, Redirect, Response},
};
use domain::actor::{Actor, Role};

use crate::{
    access::{AnyStaff, OfficeOrOwner, OwnerOnly, Reader, StaffOrPass, Visitor},
    api,
    pages::{frame, office::dates, page},
    problem::{Kind, Problem},
    scope::Scope,
    state::App,
};

/// A signed-in member of the office or the owner. Everybody else is sent to the sign-in, and a technician is told no.
#[derive(Debug, Clone, Copy)]
pub struct OfficeSession(pub Actor);

impl OfficeSession {
    /// The same permission as the API asks for.
    pub fn office(self) -> OfficeOrOwner {
        OfficeOrOwner(self.0)
    }

    /// For what everybody may do.
    pub fn staff(self) -> AnyStaff {
        AnyStaff(self.0)
    }

    /// For what somebody with a pass may read too.
    pub fn reader(self) -> StaffOrPass {
        StaffOrPass(Reader::Staff(self.0))
    }

    pub fn is_owner(self) -> bool {
        self.0.role == Role::Owner
    }
}

impl FromRequestParts<App> for OfficeSession {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Response> {
        let told = if parts.method.is_safe() {
            Visitor::from_request_parts(parts, app).await.map(|visitor| visitor.0)
        } else {
            // A form from another page is refused; one that outlived its session is sent to the sign-in.
            match AnyStaff::from_request_parts(parts, app).await {
                Ok(staff) => Ok(Some(staff.0)),
                Err(problem) if problem.status == 401 => Ok(None),
                Err(problem) => Err(problem),
            }
        };
        match told.map_err(IntoResponse::into_response)? {
            Some(actor) if actor.role != Role::Technician => {
                frame::is_read_by(actor.role);
                Ok(Self(actor))
            }
            Some(_) => {
                Err(Problem::new(Kind::NotAllowed, "This page is for the office and the owner.").into_response())
            }
            None => Err(to_sign_in(parts)),
        }
    }
}

/// To the sign-in, and from there to what was asked for.
fn to_sign_in(parts: &Parts) -> Response {
    let wanted = parts.uri.path_and_query().map(ToString::to_string).unwrap_or_default();
    let wanted = wanted.replace('%', "%25").replace('&', "%26").replace('?', "%3F").replace('#', "%23");
    Redirect::to(&format!("/sign-in?to={wanted}")).into_response()
}

/// Whoever reads a paper at a page: the office, the owner, or somebody from outside with a pass, of whom what they read is logged.
#[derive(Debug, Clone, Copy)]
pub struct PaperSession(StaffOrPass);

impl PaperSession {
    pub fn scope(self) -> Scope {
        self.0.scope()
    }

    pub fn is_outside(self) -> bool {
        matches!(self.0.0, Reader::Outside { .. })
    }
}

impl FromRequestParts<App> for PaperSession {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Response> {
        match StaffOrPass::from_request_parts(parts, app).await {
            Ok(reader) if reader.is_technician() => {
                Err(Problem::new(Kind::NotAllowed, "This page is for the office and the owner.").into_response())
            }
            Ok(reader) => {
                if let Reader::Staff(actor) = reader.0 {
                    frame::is_read_by(actor.role);
                }
                Ok(Self(reader))
            }
            Err(problem) if problem.status == 401 => Err(to_sign_in(parts)),
            Err(problem) => Err(problem.into_response()),
        }
    }
}

/// The owner, at a page. The office is told no.
#[derive(Debug, Clone, Copy)]
pub struct OwnerSession(pub OfficeSession);

impl OwnerSession {
    /// The same permission as the API asks for.
    pub fn owner(self) -> OwnerOnly {
        OwnerOnly(self.0.0)
    }
}

impl FromRequestParts<App> for OwnerSession {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Response> {
        let desk = OfficeSession::from_request_parts(parts, app).await?;
        if desk.is_owner() {
            return Ok(Self(desk));
        }
        Err(Problem::new(Kind::NotAllowed, "This page is for the owner.").into_response())
    }
}

#[derive(Template)]
#[template(path = "rules.html")]
struct Rules {
    sets: Vec<Set>,
    outside: bool,
}

struct Set {
    name: String,
    code: String,
    last_checked: String,
    coverage: String,
    rules: Vec<domain::law::RuleOnDay>,
    /// A new version waits for the owner.
    waits: bool,
}

/// Every rule set as it holds today.
pub async fn rules(reader: PaperSession, State(app): State<App>) -> Result<Response, Problem> {
    let today = api::office_day(&app).await?;
    let order = dates(&app).await?;
    let law = app.law();
    let offered = app.offered_law();
    let waiting = crate::book::rule_sets::waiting(&offered, &law);
    let set = |set: &domain::law::RuleSet| {
        let own = |rule: &domain::law::RuleOnDay| rule.rule_set == set.about.code;
        let codes = std::slice::from_ref(&set.about.code);
        Set {
            name: set.about.name.clone(),
            code: set.about.code.clone(),
            last_checked: order.day(set.about.last_checked),
            coverage: set.about.coverage.clone(),
            rules: law.on_day(codes, today).into_iter().filter(own).collect(),
            waits: !reader.is_outside() && waiting.iter().any(|about| about.code == set.about.code),
        }
    };
    Ok(page(Rules { sets: law.rule_sets().iter().map(set).collect(), outside: reader.is_outside() }.render()))
}
