//! Help for whoever uses the book: short topics with stable addresses, an index by who reads and by topic, and a search. Open to
//! everybody, because whoever cannot sign in needs it most, and it says nothing of any company.

mod markdown;
mod search;
pub mod style;
mod topics;

use askama::Template;
use axum::{
    extract::{Path, Query, State},
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use serde::Deserialize;

use self::{
    markdown::{Section, Topic},
    search::Found,
    topics::{HANDBOOK, READERS, Reader},
};
use crate::{
    access::Anyone,
    extract::IfNoneMatch,
    field_fault::truncate_chars,
    pages::{office, page_without_form},
    problem::Problem,
    secret::sha256,
    state::App,
};

/// Characters of a question that are looked at: whoever types more has pasted something.
const LONGEST_QUESTION: usize = 100;
/// The topic that lists the rule sets which this server really has.
const LAW: &str = "law";

#[derive(Debug, Deserialize)]
pub struct Question {
    q: Option<String>,
}

#[derive(Template)]
#[template(path = "help.html")]
struct Index {
    readers: &'static [Reader],
    topics: &'static [Topic],
}

#[derive(Template)]
#[template(path = "help_search.html")]
struct Answers {
    q: String,
    found: Vec<Found>,
}

#[derive(Template)]
#[template(path = "help_topic.html")]
struct TopicPage<'a> {
    topic: &'a Topic,
    own: Option<Section>,
    before: Option<&'a Topic>,
    after: Option<&'a Topic>,
}

/// The rule sets of this server, each with its code, its name, the day on which it was read, and what it covers.
#[derive(Template)]
#[template(path = "help_law.html")]
struct RuleSets {
    sets: Vec<(String, String, String, String)>,
}

/// The index, or what was found.
pub async fn index(
    _: Anyone,
    State(app): State<App>,
    known: IfNoneMatch,
    question: Query<Question>,
) -> Result<Response, Problem> {
    let q = truncate_chars(question.0.q.unwrap_or_default().trim().to_owned(), LONGEST_QUESTION);
    if q.is_empty() {
        return Ok(tagged(&known, Index { readers: &READERS, topics: &HANDBOOK }.render()));
    }
    let law = rule_sets(&app).await?;
    let found = search::search(&q, &HANDBOOK, |topic| (topic.slug == LAW).then_some(&law));
    Ok(tagged(&known, Answers { q, found }.render()))
}

/// One topic.
pub async fn topic(
    _: Anyone,
    State(app): State<App>,
    known: IfNoneMatch,
    Path(slug): Path<String>,
) -> Result<Response, Problem> {
    let at = HANDBOOK.iter().position(|topic| topic.slug == slug).ok_or_else(|| {
        Problem::new(crate::problem::Kind::NotFound, format!("There is no help topic {slug}; /help lists all."))
    })?;
    let topic = &HANDBOOK[at];
    let own = if topic.slug == LAW { Some(rule_sets(&app).await?) } else { None };
    let before = at.checked_sub(1).and_then(|at| HANDBOOK.get(at));
    Ok(tagged(&known, TopicPage { topic, own, before, after: HANDBOOK.get(at + 1) }.render()))
}

/// Made from the law in force here, the operator's own files with it, so that the list cannot age.
async fn rule_sets(app: &App) -> Result<Section, Problem> {
    let dates = office::dates(app).await?;
    let law = app.law();
    let about = law.rule_sets().iter().map(|set| &set.about);
    let sets: Vec<_> = about
        .map(|set| (set.code.clone(), set.name.clone(), dates.day(set.last_checked), set.coverage.clone()))
        .collect();
    let lines: Vec<_> = sets.iter().map(|(code, name, _, coverage)| format!("{name}, {code}. {coverage}")).collect();
    let text = lines.join("\n");
    let heading = "Rule sets in this server".to_owned();
    let html = RuleSets { sets }.render().map_err(|error| Problem::fault(&error))?;
    Ok(Section { id: "rule-sets".to_owned(), heading, html, text })
}

/// A page that is the same for everybody until the server or its law changes: whoever has it already is told so.
fn tagged(known: &IfNoneMatch, html: Result<String, askama::Error>) -> Response {
    let tag = html.as_ref().ok().map(|html| format!("\"{}\"", &sha256(html)[..32]));
    let Some((tag, value)) = tag.and_then(|tag| HeaderValue::from_str(&tag).ok().map(|value| (tag, value))) else {
        return page_without_form(html);
    };
    let mut response = if known.has(&tag) { StatusCode::NOT_MODIFIED.into_response() } else { page_without_form(html) };
    response.headers_mut().insert(header::ETAG, value);
    response
}
