//! What the owner must look at: the list, and each entry with what was sent, why it stands here, and the form that closes it.

use askama::Template;
use axum::{extract::State, response::Response};
use domain::{
    decision::Decision,
    ids::{self, RecordId},
};

use crate::{
    acts::application::ApplicationInput,
    api,
    extract::PathId,
    pages::{
        applications::{class, name_of, section_names, seen},
        form::{Field, Form, FormData},
        local::Local,
        office::{NEWEST, dates, shown},
        office_session::{OfficeSession, OwnerSession},
        page,
    },
    paging::PageRequest,
    problem::Problem,
    scope::Scope,
    state::App,
    store::{
        self,
        applications::Attempt,
        limit_moves::{LimitMove, Limited},
        reviews::{Review, ReviewItem},
        settings::DateOrder,
    },
};

/// An entry as a person reads it.
struct Entry {
    id: String,
    why: &'static str,
    address: String,
    property: String,
    person: String,
    received: String,
    /// It is closed on the own page of what was measured or seen.
    measured: bool,
    /// Where the stored record or the measurement stands, where there is one.
    stored: Vec<Stored>,
    change: Option<Change>,
}

/// A change of a lawn, in words.
struct Change {
    what: &'static str,
    /// The lawn section; nothing where it is the whole property.
    section: Option<String>,
    was: String,
    becomes: String,
    since: Option<String>,
    reason: Option<String>,
    /// Where a further entry puts it right.
    mend: String,
}

impl Change {
    async fn of(app: &App, change: &LimitMove, dates: DateOrder) -> Result<Self, Problem> {
        let section = match change.section_id {
            Some(id) => store::sections::get(app.store.reader(), id, Scope::Company).await?.map(|section| section.name),
            None => None,
        };
        let (what, mend) = match change.what {
            Limited::Area => ("Area", format!("/office/measurements/{}/correct", change.subject_id)),
            Limited::Water => ("Water", format!("/office/entries/{}", change.subject_id)),
            Limited::Species => ("Turf", format!("/office/entries/{}", change.subject_id)),
            Limited::SoilReport => ("Soil report", format!("/office/soil-reports/{}/correct", change.subject_id)),
            Limited::Rules => ("Which rules hold", format!("/office/entries/{}", change.subject_id)),
        };
        Ok(Self {
            what,
            section,
            was: change.was.clone(),
            becomes: change.becomes.clone(),
            since: change.since.map(|day| dates.day(day)),
            reason: change.reason.clone(),
            mend,
        })
    }
}

struct Stored {
    href: String,
    words: &'static str,
}

impl Entry {
    async fn of(app: &App, item: &ReviewItem, dates: DateOrder) -> Result<Self, Problem> {
        let reader = app.store.reader();
        let property = store::properties::get(reader, item.property_id, Scope::Company).await?;
        let (address, zone) = property.map(|property| (property.address, property.time_zone)).unwrap_or_default();
        let person = store::people::get(reader, item.person_id).await?.map(|person| person.name);
        let why = match item.why.as_str() {
            "beyond_the_rules" => "■ Beyond the rules",
            "heavy_rain_after" => "● Heavy rain fell within a day of the work",
            "measurement_to_confirm" => "▲ A technician measured a lawn: please confirm it",
            "sighting_to_confirm" => "▲ A technician saw that more could go down on a lawn: please confirm it",
            "added_beyond_the_rules" => "■ What was added later shows that the work went beyond the rules",
            "added_shorter_distance" => "▲ What was added later tells a shorter distance than was told before",
            "learned_since" => "▲ What was entered later makes a record doubtful: by it the work went beyond the rules",
            "visit_changed" => "▲ The visit was cancelled, closed or given to somebody else",
            "clock_moved" => "▲ The phone's clock was moved during the work",
            "limit_loosened" if item.change.as_ref().is_some_and(|change| change.what == Limited::Rules) => {
                "▲ A change decides which rules hold on a property"
            }
            "limit_loosened" => "▲ A change of a lawn lets more go down",
            "large_change" => "▲ A large change of a lawn",
            "unlikely_figure" => "▲ A figure of a lawn that is hardly likely",
            _ => "▲ Refused, and neither sent again nor reviewed",
        };
        Ok(Self {
            id: item.record_id.clone(),
            why,
            address,
            property: item.property_id.to_string(),
            person: person.unwrap_or_default(),
            received: Local::of(&zone).minute(item.received_at, dates),
            measured: ["measurement", "sighting"].contains(&item.kind.as_str()),
            stored: stored(app, item).await?,
            change: match &item.change {
                Some(change) => Some(Change::of(app, change, dates).await?),
                None => None,
            },
        })
    }
}

/// What an entry is about, if it is stored.
async fn stored(app: &App, item: &ReviewItem) -> Result<Vec<Stored>, Problem> {
    let record = |id: String| Stored { href: format!("/records/{id}"), words: "The record and its decision" };
    Ok(match (item.why.as_str(), item.kind.as_str(), item.record_id.parse()) {
        ("refused_attempt", ..) | (_, "change", _) => Vec::new(),
        ("learned_since", ..) => item.doubtful_ids.iter().map(|id| record(id.to_string())).collect(),
        ("measurement_to_confirm", ..) => {
            let href = format!("/office/measurements/{}", item.record_id);
            vec![Stored { href, words: "The measurement, to confirm or reject" }]
        }
        (_, "addition", _) => {
            let Ok(id) = item.record_id.parse() else { return Ok(Vec::new()) };
            let found = store::additions::get(app.store.reader(), id).await?;
            found.into_iter().map(|addition| record(addition.application_id.to_string())).collect()
        }
        ("sighting_to_confirm", ..) => {
            let href = format!("/office/sightings/{}", item.record_id);
            vec![Stored { href, words: "What was seen, to confirm or reject" }]
        }
        (_, "correction", Ok(id)) => {
            let span = PageRequest { after: 0, take: 1 };
            let found = store::applications::corrections(app.store.reader(), span, None, Some(id), Scope::Company);
            found.await?.first().map(|row| record(row.item.application_id.to_string())).into_iter().collect()
        }
        _ => vec![record(item.record_id.clone())],
    })
}

#[derive(Template)]
#[template(path = "reviews.html")]
struct Reviews {
    entries: Vec<Entry>,
    /// There are more than are shown.
    more: bool,
}

/// What the owner must look at; the office sees it too.
pub async fn list(_: OfficeSession, State(app): State<App>) -> Result<Response, Problem> {
    let dates = dates(&app).await?;
    let span = PageRequest { take: NEWEST.take + 1, ..NEWEST };
    let (items, older) = shown(store::reviews::list(app.store.reader(), span, true, None).await?, NEWEST.take);
    let mut entries = Vec::new();
    for item in &items {
        entries.push(Entry::of(&app, item, dates).await?);
    }
    Ok(page(Reviews { entries, more: older.is_some() }.render()))
}

/// What was sent and refused.
struct Refused {
    /// Product, day and amounts, as far as they can be read.
    sent: Vec<String>,
    seen: Vec<seen::Observation>,
    decision: Option<Decision>,
    class: &'static str,
}

#[derive(Template)]
#[template(path = "review.html")]
struct ReviewPage {
    entry: Entry,
    refused: Option<Refused>,
    review: Option<Review>,
    reviewed: String,
    owner: bool,
    form: Form,
}

async fn find(app: &App, id: RecordId) -> Result<ReviewItem, Problem> {
    let span = PageRequest { after: i64::MAX, take: 1 };
    let found = store::reviews::list(app.store.reader(), span, false, Some(id.to_string())).await?;
    found.into_iter().next().map(|row| row.item).ok_or_else(|| Problem::not_found("entry of the list"))
}

fn form(id: RecordId) -> Form {
    let note = Field::lines("/note", "Your note").help("It cannot be changed later.");
    Form::new("Close an entry of the list", format!("/reviews/{id}"), "Close it", vec![note]).back("/reviews")
}

/// An entry, with what was sent and what it was refused for.
pub async fn one(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Record>,
) -> Result<Response, Problem> {
    let item = find(&app, id).await?;
    let dates = dates(&app).await?;
    let entry = Entry::of(&app, &item, dates).await?;
    let attempt = match item.record_id.parse() {
        Ok(id) if item.why == "refused_attempt" => {
            store::applications::attempt(app.store.reader(), id, Scope::Company).await?
        }
        _ => None,
    };
    let refused = match attempt {
        Some(attempt) => Some(refused(&app, attempt, dates).await?),
        None => None,
    };
    let (_, zone) = store::people::company(app.store.reader()).await?.unwrap_or_default();
    let reviewed = item.review.as_ref().map(|review| Local::of(&zone).minute(review.reviewed_at, dates));
    let (review, reviewed) = (item.review, reviewed.unwrap_or_default());
    Ok(page(ReviewPage { entry, refused, review, reviewed, owner: desk.is_owner(), form: form(id) }.render()))
}

/// What was sent, in words; what cannot be read any more is left out, and the API has it word for word.
async fn refused(app: &App, attempt: Attempt, dates: DateOrder) -> Result<Refused, Problem> {
    let named = section_names(app, attempt.property_id).await?;
    let property = store::properties::get(app.store.reader(), attempt.property_id, Scope::Company).await?;
    let local = Local::of(&property.map(|property| property.time_zone).unwrap_or_default());
    let (mut sent, mut seen) = (Vec::new(), Vec::new());
    if let Ok(input) = serde_json::from_str::<ApplicationInput>(&attempt.content) {
        let product = store::products::get(app.store.reader(), input.product_id).await?;
        let from = local.minute(input.started_at, dates);
        sent.push(format!("{}, begun {from}", product.map(|product| product.name).unwrap_or_default()));
        let line = |line: &crate::acts::application::AppliedLine| {
            format!("{} lb on the {}", line.product_lb, name_of(&named, line.section_id))
        };
        sent.extend(input.lines.iter().map(line));
        seen.push(seen::Observation { what: "Ground", words: input.ground.label().to_owned() });
        seen.extend(seen::of_weather(&input.weather, &local, dates));
    }
    let class = attempt.decision.as_ref().map_or("care", |decision| class(decision.verdict));
    Ok(Refused { sent, seen, decision: attempt.decision, class })
}

/// Says what the owner makes of an entry, and closes it.
pub async fn close(
    desk: OwnerSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Record>,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = form(id).sent(&sent);
    let done = async {
        let valid = form.valid(&app)?;
        api::reviews::review_record(desk.owner(), State(app.clone()), PathId(id), valid).await
    };
    let done = done.await;
    form.changed(done, &self::form(id), "/reviews")
}
