//! A new version of a rule set: what it changes, for which lawns and visits, and the owner's word that it counts.

use askama::Template;
use axum::{
    extract::{Path, State},
    response::Response,
};
use domain::{decision::Verdict, law::RuleSetAbout};

use crate::{
    access::OfficeOrOwner,
    api::{
        self,
        rule_sets::{WaitingRuleSet, confirm_rule_set, get_waiting_rule_set},
    },
    book,
    pages::{
        attention::Notice,
        form::{Field, Form, FormData},
        local::Local,
        office::dates,
        office_session::{OfficeSession, OwnerSession},
        page,
    },
    problem::Problem,
    state::App,
    store::{self, rule_sets::TakenHow, settings::DateOrder},
};

/// For so long Today says that a version counts because the one before it could not be read any more.
const TOLD_DAYS: i64 = 30;

/// What Today says of new versions: those that wait, and those that count unseen because the one before cannot be read.
pub async fn notices(app: &App, local: &Local, dates: DateOrder) -> Result<Vec<Notice>, Problem> {
    let law = app.law();
    let reader = app.store.reader();
    let mut told = Vec::new();
    for about in book::rule_sets::waiting(&app.offered_law(), &law) {
        let since = store::rule_sets::met_at(reader, &about.hash).await?;
        let since = since.map_or_else(String::new, |since| format!(" since {}", local.minute(since, dates)));
        let words = format!(
            "{}: a new version of the rules has been waiting{since} for the owner. Until then the previous version stays in use",
            about.name
        );
        told.push(Notice { sign: "▲", words, href: Some(format!("/office/rules/{}/new", about.code)) });
    }
    let after = app.clock.now().millis() - TOLD_DAYS * 24 * 3600 * 1000;
    for one in store::rule_sets::unseen_since(reader, after).await? {
        let name = law.rule_set(&one.code).map_or(one.code.as_str(), |set| &set.about.name);
        let since = local.minute(one.since, dates);
        let words = unseen_words(name, &since, one.how);
        told.push(Notice { sign: "■", words, href: Some("/rules".to_owned()) });
    }
    Ok(told)
}

/// What is said of a version that counts though nobody saw before what it changes.
fn unseen_words(name: &str, since: &str, how: TakenHow) -> String {
    let why = match how {
        TakenHow::Upgraded => {
            return format!(
                "{name}: this version of the program brought new rules; they count since {since}, without having waited: look at the rules"
            );
        }
        TakenHow::Unfit => "the previous one does not fit the other rule sets of this server any more",
        _ => "this server cannot read the previous one any more",
    };
    format!("{name}: since {since} a new version of the rules counts, because {why}: look at the rules")
}

#[derive(Template)]
#[template(path = "rule_set_new.html")]
struct NewVersionPage {
    dates: DateOrder,
    one: WaitingRuleSet,
    since: String,
    /// For the owner alone.
    form: Option<Form>,
}

impl NewVersionPage {
    /// What there is no limit, rule or field of is said in words.
    fn side(text: Option<&String>) -> &str {
        text.map_or("nothing", |text| text.as_str())
    }

    /// What a difference is about; a field of the file is called as the file calls it.
    fn what(field: &str) -> &str {
        match field {
            "says" => "in words",
            "whole rule" => "the whole rule",
            "whole value" => "all of it from that day on",
            field => field,
        }
    }

    fn verdict(verdict: impl std::borrow::Borrow<Verdict>) -> &'static str {
        match verdict.borrow() {
            Verdict::Go => "● go",
            Verdict::Care => "▲ care",
            Verdict::Stop => "■ stop",
        }
    }
}

fn form(one: &WaitingRuleSet) -> Form {
    let at = format!("/office/rules/{}/new", one.waits.code);
    let title = format!("New version of the rules: {}", one.waits.name);
    Form::new(title, at.clone(), "Use the new version", vec![Field::hidden("/hash", &one.waits.hash)])
        .back("/rules")
        .note("From then on every check and every record is judged by it. Records that stand keep the decision they were made with.")
}

/// A new version that cannot be looked at before others are confirmed.
#[derive(Template)]
#[template(path = "rule_set_later.html")]
struct LaterPage<'a> {
    name: &'a str,
    first: Vec<&'a RuleSetAbout>,
}

/// The new version against the one that counts.
pub async fn new(desk: OfficeSession, State(app): State<App>, Path(code): Path<String>) -> Result<Response, Problem> {
    let offered = app.offered_law();
    let first = book::rule_sets::needed_first(&offered, &app.law(), &code);
    if let Some(set) = offered.rule_set(&code).filter(|_| !first.is_empty()) {
        return Ok(page(LaterPage { name: &set.about.name, first }.render()));
    }
    let one = get_waiting_rule_set(OfficeOrOwner(desk.0), State(app.clone()), Path(code)).await?.0;
    let (_, zone) = api::company(&app).await?;
    let dates = dates(&app).await?;
    let since = Local::of(&zone).minute(one.since, dates);
    let form = desk.is_owner().then(|| form(&one));
    Ok(page(NewVersionPage { dates, one, since, form }.render()))
}

/// Lets it count.
pub async fn confirm(
    desk: OwnerSession,
    State(app): State<App>,
    Path(code): Path<String>,
    sent: FormData,
) -> Result<Response, Problem> {
    let at = format!("/office/rules/{code}/new");
    let fields = vec![Field::hidden("/hash", "")];
    let form = Form::new("New version of the rules", at.clone(), "Use the new version", fields).back(at).sent(&sent);
    let done = async {
        let valid = form.valid(&app)?;
        confirm_rule_set(desk.owner(), State(app.clone()), Path(code), valid).await
    };
    match done.await {
        // The page that was looked at is not that of today's version: it is to be looked at anew.
        Err(problem) => Err(problem),
        Ok(_) => Ok(axum::response::IntoResponse::into_response(axum::response::Redirect::to("/rules"))),
    }
}
