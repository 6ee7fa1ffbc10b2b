//! What an act may know of the weather beside what it was sent.

use domain::{
    ids::{ApplicationId, PropertyId},
    time::{Day, Instant},
    weather::Weather,
};

use super::place_of;
use crate::{
    acts::{Provided, ServiceAsked, facts::surroundings::names_missing_coordinates},
    problem::Problem,
    scope::Scope,
    state::App,
    store::{self, properties::Property},
    weather::is_now,
    zone,
};

/// What services say for a plan. Of another day than today nothing is taken: its weather counts as unseen.
pub async fn for_plan(
    app: &App,
    property: PropertyId,
    scope: Scope,
    planned_on: Day,
    asked: &Weather,
) -> Result<Provided, Problem> {
    let now = app.clock.now();
    let Some(property) = served(app, property, scope).await? else { return Ok(Provided::default()) };
    // Where the day there is not known, nobody is asked: what is planned is refused for that.
    let today = zone::of_property(property.id, &property.time_zone).map(|zone| now.day_in(&zone));
    if today != Ok(planned_on) {
        return Ok(Provided::default());
    }
    Ok(provided(app, &property, asked, (now, now)).await)
}

/// What services say for work that began and ended at two moments: now, or as it was known when it began.
pub async fn for_work(
    app: &App,
    property: PropertyId,
    scope: Scope,
    (started_at, finished_at): (Instant, Instant),
    asked: &Weather,
) -> Result<Provided, Problem> {
    let Some(property) = served(app, property, scope).await? else { return Ok(Provided::default()) };
    Ok(provided(app, &property, asked, (started_at, finished_at)).await)
}

/// What services say of a property. Where nobody knows where it lies they cannot be asked, and what is open stays open, as it does
/// where nothing is kept of the hour in which the day's work began. Of an earlier day nobody expects an answer.
async fn provided(
    app: &App,
    property: &Property,
    asked: &Weather,
    (started_at, finished_at): (Instant, Instant),
) -> Provided {
    let now = app.clock.now();
    let recent = asked.has_gaps() && is_of_today(property, started_at.max(finished_at), now);
    let Some(place) = place_of(property) else {
        let asked = if recent { ServiceAsked::WithoutCoordinates } else { ServiceAsked::No };
        return Provided { asked, ..Provided::default() };
    };
    let mut provided = app.weather.provided(&app.store, place, asked, started_at, now).await;
    if recent && provided.asked == ServiceAsked::No {
        provided.asked = ServiceAsked::NothingKept;
    }
    provided
}

/// Whether a moment lies on no earlier day than today's at the property, or so short before now that midnight makes no difference.
fn is_of_today(property: &Property, at: Instant, now: Instant) -> bool {
    // Where the day there is not known, the record is refused for that.
    let zone = zone::of_property(property.id, &property.time_zone);
    is_now(at, now) || zone.is_ok_and(|zone| at.day_in(&zone) >= now.day_in(&zone))
}

/// What services had said when an application was recorded, for the correction of it.
pub async fn of_record(app: &App, application: ApplicationId) -> Result<Provided, Problem> {
    let subject = format!("application/{application}");
    let Some(evidence) = store::weather::evidence(app.store.reader(), &subject).await? else {
        return Ok(Provided::default());
    };
    let asked = if evidence.fetches.is_empty() { unanswered(app, &subject).await? } else { ServiceAsked::Yes };
    let fetches = evidence.fetches.iter().map(|(seq, _)| *seq).collect();
    Ok(Provided { asked, weather: evidence.facts, fetches })
}

/// Why a record has nothing of a service. What its own decision named holds for its correction too, whatever the property's page says
/// since.
async fn unanswered(app: &App, subject: &str) -> Result<ServiceAsked, Problem> {
    let decision = store::applications::decision(app.store.reader(), subject).await?;
    let without_place = decision.is_some_and(|decision| decision.findings.iter().any(names_missing_coordinates));
    Ok(if without_place { ServiceAsked::WithoutCoordinates } else { ServiceAsked::NothingKept })
}

/// The property, if services are there that could be asked about it.
async fn served(app: &App, id: PropertyId, scope: Scope) -> Result<Option<Property>, Problem> {
    if app.weather.are_off() {
        return Ok(None);
    }
    Ok(store::properties::get(app.store.reader(), id, scope).await?)
}
