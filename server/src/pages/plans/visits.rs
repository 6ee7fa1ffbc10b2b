//! The visits of a round, made from the plan.

use std::collections::HashMap;

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use domain::{
    ids::{PropertyId, SectionId, VisitId},
    quantity::{NutrientRate, ProductRate},
    time::Day,
};
use serde::Deserialize;

use crate::{
    pages::{
        in_address,
        plans::{
            ALL_ROWS, Choice, DateOrder, Field, Form, FormData, Lawns, OfficeSession, PathId, Problem, Programme,
            ProgrammeId, aim, api, dates, ids, lawns, page, programmes, store,
        },
    },
    state::App,
};

/// Sections that one form offers, and one request takes.
const OFFERED: usize = 200;

#[derive(Debug, Deserialize)]
pub struct RoundQuery {
    #[serde(default)]
    round: String,
    /// Only sections whose address or client has these words.
    #[serde(default)]
    find: String,
}

/// The sections of the book on which the round is open, as somebody chooses them, and how many more there are.
async fn open(app: &App, id: ProgrammeId, asked: &RoundQuery) -> Result<(Vec<Choice>, usize), Problem> {
    let mut connection = app.store.reader().acquire().await?;
    let taken = store::visits::of_round(&mut connection, id, &asked.round, None).await?;
    drop(connection);
    let wanted = asked.find.trim().to_lowercase();
    let all = lawns(app.store.reader(), Lawns::All, ALL_ROWS.take).await?;
    let words =
        |one: &store::programmes::lawns::Lawn| format!("{}, {}, {}", one.section_name, one.address, one.client_name);
    let open = all.iter().filter(|one| !taken.contains(&one.section_id));
    let mut open: Vec<Choice> = open
        .map(|one| Choice::new(one.section_id.to_string(), words(one)))
        .filter(|one| one.words.to_lowercase().contains(&wanted))
        .collect();
    let more = open.len().saturating_sub(OFFERED);
    open.truncate(OFFERED);
    Ok((open, more))
}

async fn form(app: &App, programme: &Programme, asked: &RoundQuery) -> Result<Form, Problem> {
    let round = programme.rounds.iter().find(|round| round.name == asked.round);
    let round = round.ok_or_else(|| Problem::not_found("round of this program"))?;
    let people = store::people::list(app.store.reader(), ALL_ROWS).await?.into_iter().map(|row| row.item);
    let people = people.filter(|one| one.active).map(|one| Choice::new(one.id.to_string(), one.name)).collect();
    let (sections, more) = open(app, programme.id, asked).await?;
    let dates = dates(app).await?;
    let mut aim = aim();
    "/aim".clone_into(&mut aim.name);
    let mut chosen = Field::many("/section_ids", "Lawn sections on which the round is open", sections.clone());
    // Whoever looked for some means these.
    if !asked.find.trim().is_empty() {
        chosen.value = sections.into_iter().map(|choice| choice.value).collect();
    }
    let days = format!("From {} to {}.", dates.day(round.from), dates.day(round.to));
    let mut when = Field::day("/planned_on", "On").help(days.clone());
    let mut who = Field::one("/person_id", "Who goes", people);
    if !programme.technicians.is_empty() {
        when = when.optional().help(format!(
            "{days} Leave day and person empty to spread the visits over the days of the program's technicians."
        ));
        who = who.optional();
    }
    let fields = vec![Field::hidden("/round", round.name.clone()), when, who, aim, chosen];
    let at = format!("/office/programmes/{}", programme.id);
    let mut address = format!("{at}/visits/new?round={}", in_address(&round.name));
    if !asked.find.is_empty() {
        address.push_str("&find=");
        address.push_str(&in_address(&asked.find));
    }
    let form = Form::new(format!("Visits of {}", round.name), address, "Plan the visits", fields)
        .back(at)
        .note("Each chosen section is planned anew for that day, which takes a moment; what the plan says becomes its visit. A section for which the plan has nothing that day is left out, and named. Visits permit nothing: each lawn is checked on its day.");
    let narrower = format!("▲ {more} more sections are open. Find those of an address or client to see them.");
    Ok(if more > 0 { form.note(narrower) } else { form })
}

#[derive(Template)]
#[template(path = "round_visits.html")]
struct RoundForm {
    programme: Programme,
    asked: RoundQuery,
    form: Form,
}

/// The form, with a search above it.
pub async fn new(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Programme>,
    Query(asked): Query<RoundQuery>,
) -> Result<Response, Problem> {
    let programme = programmes::get(&app, id).await?;
    let form = form(&app, &programme, &asked).await?.once(&app);
    Ok(page(RoundForm { programme, asked, form }.render()))
}

/// The answer of the API, as far as the page reads it out.
#[derive(Debug, Deserialize)]
struct VisitsCreated {
    visits: Vec<Stop>,
    left_out: Vec<Left>,
}

#[derive(Debug, Deserialize)]
struct Stop {
    id: VisitId,
    property_id: PropertyId,
    planned_on: Day,
    section_ids: Vec<SectionId>,
    target_nitrogen_lb_per_1000_sqft: Option<NutrientRate>,
    #[serde(default)]
    target_product_lb_per_1000_sqft: Option<ProductRate>,
}

#[derive(Debug, Deserialize)]
struct Left {
    section_id: SectionId,
    why: String,
}

#[derive(Template)]
#[template(path = "planned_visits.html")]
struct PlannedPage {
    dates: DateOrder,
    programme: Programme,
    round: String,
    visits: Vec<(Stop, String)>,
    left_out: Vec<(SectionId, String, String)>,
}

/// Plans the visits and reads out what was planned and what was left out.
pub async fn add(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Programme>,
    Query(asked): Query<RoundQuery>,
    sent: FormData,
) -> Result<Response, Problem> {
    let programme = programmes::get(&app, id).await?;
    let form = form(&app, &programme, &asked).await?;
    // What was planned meanwhile is not offered any more, but may stand in a form that is sent again.
    let form = form.sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::plans::create_round_visits(desk.office(), State(app.clone()), PathId(id), key, valid).await
    };
    match done.await {
        Ok(created) => {
            let answer: VisitsCreated = serde_json::from_str(&created.body)?;
            shown(&app, programme, asked.round, answer).await
        }
        refused => form.made(&app, refused, |_| format!("/office/programmes/{id}")),
    }
}

async fn shown(app: &App, programme: Programme, round: String, answer: VisitsCreated) -> Result<Response, Problem> {
    let planned = answer.visits.iter().flat_map(|visit| visit.section_ids.iter().copied());
    let ids = planned.chain(answer.left_out.iter().map(|left| left.section_id)).collect();
    let known = lawns(app.store.reader(), Lawns::These(ids), ALL_ROWS.take).await?;
    let names: HashMap<SectionId, String> =
        known.into_iter().map(|one| (one.section_id, format!("{}, {}", one.section_name, one.address))).collect();
    let place = |id: &SectionId| names.get(id).cloned().unwrap_or_else(|| "a section".to_owned());
    let visits = answer.visits.into_iter().map(|visit| {
        let places = visit.section_ids.iter().map(place).collect::<Vec<_>>().join("; ");
        (visit, places)
    });
    let left_out = answer.left_out.into_iter().map(|left| (left.section_id, place(&left.section_id), left.why));
    let (visits, left_out) = (visits.collect(), left_out.collect());
    Ok(page(PlannedPage { dates: dates(app).await?, programme, round, visits, left_out }.render()))
}
