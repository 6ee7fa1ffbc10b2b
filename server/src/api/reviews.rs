//! What the owner must look at.

use axum::{Json, extract::State};
use domain::ids::{self, AttemptId, RecordId};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::{
    access::{AnyStaff, OfficeOrOwner, OwnerOnly},
    book::office,
    extract::{PathId, Valid, ValidQuery},
    paging::{Page, PageRequest, Paged},
    problem::{Kind, Problem},
    routes::{Routes, routes},
    state::App,
    store::{self, applications::Attempt, journal::JournalContext, reviews::ReviewItem},
};

pub fn routes() -> Routes {
    routes!(list_reviews, review_record, get_attempt)
}

/// Which entries to list.
#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct ReviewFilter {
    /// `false` also lists what was reviewed and attempts that were stored since. True unless said otherwise.
    #[serde(default)]
    open: Option<bool>,
}

type ReviewQuery = Paged<ReviewFilter>;

/// List reviews
///
/// Records beyond the rules, attempts that were refused and never stored (the work may have been done all the same), records
/// whose visit was changed or whose phone's clock was moved, additions and what was learned later that make a record doubtful, records that
/// heavy rain followed within a day, what a technician measured or saw and the office has to confirm, and changes of a lawn by which more may
/// go down, or that are large or unlikely: they count meanwhile, and one that a further entry puts right leaves the list. The latest first.
#[utoipa::path(get, path = "/api/v1/reviews", operation_id = "list_reviews", tag = "reviews", security(("bearer" = ["office", "owner"])),
    params(ReviewQuery), responses((status = 200, description = "A page of the list.", body = Page<ReviewItem>)))]
async fn list_reviews(
    _: OfficeOrOwner,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<ReviewQuery>,
) -> Result<Json<Page<ReviewItem>>, Problem> {
    let span = app.cursors.span("reviews", &query, true)?;
    let rows = store::reviews::list(app.store.reader(), span, query.open.unwrap_or(true), None).await?;
    Ok(Json(app.cursors.page("reviews", &query, rows)))
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "note": "Spoke with the technician; the spreader was set for another product. Calibrated again." }))]
pub struct ReviewInput {
    #[schema(min_length = 1, max_length = 1000, format = "lines")]
    note: String,
}

/// Review a record
///
/// Says what the owner makes of an entry of the list and closes it. Said once; the same again changes nothing.
#[utoipa::path(put, path = "/api/v1/reviews/{id}", operation_id = "review_record", tag = "reviews", security(("bearer" = ["owner"])),
    params(("id" = RecordId, Path, description = "`record_id` of the entry.")), request_body = ReviewInput,
    responses((status = 200, description = "Closed.", body = ReviewItem)))]
pub async fn review_record(
    OwnerOnly(actor): OwnerOnly,
    State(app): State<App>,
    PathId(id): PathId<ids::Record>,
    Valid { value, .. }: Valid<ReviewInput>,
) -> Result<Json<ReviewItem>, Problem> {
    let find = || {
        store::reviews::list(app.store.reader(), PageRequest { after: i64::MAX, take: 1 }, false, Some(id.to_string()))
    };
    let missing = || Problem::not_found("entry of the list");
    let item = find().await?.into_iter().next().ok_or_else(missing)?.item;
    if item.why == "measurement_to_confirm" {
        let detail = "A measurement is confirmed or rejected, which takes it off the list: PUT /api/v1/measurements/{id}/confirmation.";
        return Err(Problem::new(Kind::Conflict, detail));
    }
    if item.kind == "sighting" {
        let detail = "What was seen is confirmed or rejected, which takes it off the list: PUT /api/v1/sightings/{id}/confirmation.";
        return Err(Problem::new(Kind::Conflict, detail));
    }
    match item.review {
        Some(ref review) if review.note == value.note => return Ok(Json(item)),
        Some(_) => return Err(Problem::new(Kind::Conflict, "This entry was reviewed already.")),
        None => {}
    }
    let at = app.clock.now();
    let deed = JournalContext { actor: Some(actor), at, act: "record.reviewed", subject: id.uuid() };
    office::change(&app, deed, move |connection| {
        Box::pin(async move {
            if !store::reviews::insert(connection, &id.to_string(), actor.person, &value.note, at).await? {
                return Err(Problem::new(Kind::Conflict, "This entry was reviewed already."));
            }
            Ok(serde_json::json!({ "record_id": id, "person_id": actor.person, "note": value.note }))
        })
    })
    .await?;
    Ok(Json(find().await?.into_iter().next().ok_or_else(missing)?.item))
}

/// Get a refused attempt
///
/// What was sent, word for word, and every finding it was refused for. A technician reads the own ones.
#[utoipa::path(get, path = "/api/v1/attempts/{id}", operation_id = "get_attempt", tag = "reviews", security(("bearer" = ["any staff"])),
    params(("id" = AttemptId, Path, description = "The attempt.")), responses((status = 200, description = "The attempt.", body = Attempt)))]
async fn get_attempt(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::Attempt>,
) -> Result<Json<Attempt>, Problem> {
    let found = store::applications::attempt(app.store.reader(), id, staff.scope()).await?;
    found.map(Json).ok_or_else(|| Problem::not_found("attempt"))
}
