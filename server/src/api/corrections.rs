//! Corrections: further records that say what is true.

use axum::{Json, extract::State, response::Response};
use domain::ids::{self, ApplicationId, CorrectionId};
use serde::{Deserialize, Serialize};
use utoipa::IntoParams;

use crate::{
    access::{AnyStaff, StaffOrPass},
    acts::{
        Act, ActOutcome, Asker,
        content::Content,
        correction::{self, CorrectionCheck, CorrectionInput, CorrectionView},
    },
    api::clearances::{context, refused, stored_before_response, stored_response},
    book::{particulars, receipts, weather},
    extract::{PathId, Valid, ValidQuery},
    paging::{Page, PageRequest, Paged},
    problem::Problem,
    routes::{Routes, routes},
    state::App,
    store,
};

pub fn routes() -> Routes {
    routes!(list_corrections, check_correction, correct_application, get_correction)
}

/// Check a correction
///
/// What the same correction would change if it were sent now, without effect: every section of the record with its line before and
/// after, the stock that moves, the section's year and the room under the tightest yearly cap before and after, the decision on all
/// lines that would stand, and what would have to be acknowledged.
#[utoipa::path(post, path = "/api/v1/corrections/checks", operation_id = "check_correction", tag = "corrections",
    security(("bearer" = ["any staff"])), request_body = CorrectionInput,
    responses((status = 200, description = "What it would change, whatever the verdict.", body = CorrectionCheck)))]
pub async fn check_correction(
    staff: AnyStaff,
    State(app): State<App>,
    Valid { value, .. }: Valid<CorrectionInput>,
) -> Result<Json<CorrectionCheck>, Problem> {
    let at = app.clock.now();
    let said = weather::of_record(&app, value.application_id).await?;
    let mut connection = app.store.reader().acquire().await?;
    let world = store::world::load_for_correction_check(&mut connection, &value, at).await?;
    drop(connection);
    let asker = Asker { actor: staff.0, at, services: &said };
    match correction::check(asker, &value, &world, &app.law())? {
        Ok(preview) => Ok(Json(preview)),
        Err(outcome) => Err(refused(*outcome)),
    }
}

/// Correct an application
///
/// A further record with a reason, under an id that the caller makes. It puts the lines that it names in the place of what stands
/// on their sections, takes back what it says to take back, and leaves every other line exactly as it stands; without `change` it
/// takes the whole application back. The original stays as it was recorded, and totals and stock follow. The record as it will
/// stand is judged like any record: beyond the rules it needs every stopping finding acknowledged. A further correction names the
/// one it replaces, so that one that lay on a phone for days does not override a newer one unseen.
#[utoipa::path(put, path = "/api/v1/corrections/{id}", operation_id = "correct_application", tag = "corrections",
    security(("bearer" = ["any staff"])), params(("id" = CorrectionId, Path, description = "Made by the caller, UUID version 7 preferred.")),
    request_body = CorrectionInput,
    responses((status = 201, description = "Stored.", body = CorrectionView, headers(("receipt" = String, description = "A receipt of this moment, base64."))),
              (status = 200, description = "Stored before, with the same content.", body = CorrectionView, headers(("receipt" = String, description = "A receipt of this moment, base64.")))))]
pub async fn correct_application(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::Correction>,
    Valid { value, .. }: Valid<CorrectionInput>,
) -> Result<Response, Problem> {
    let value = value.canonical();
    let mut context = context(&app, staff, Content::apart(&value)?);
    context.weather = weather::of_record(&app, value.application_id).await?;
    match app.store.act(Act::Correct(context, id, value)).await? {
        ActOutcome::Corrected(view) => Ok(receipts::beside(&app, stored_response(view)).await),
        // It is shown as it was stored: the section may have been measured anew since.
        ActOutcome::StoredBefore => {
            let span = PageRequest { after: 0, take: 1 };
            let found =
                store::applications::corrections(app.store.reader(), span, None, Some(id), staff.scope()).await?;
            Ok(receipts::beside(
                &app,
                stored_before_response(found.into_iter().next().map(|row| row.item), "correction")?,
            )
            .await)
        }
        other => Err(refused(other)),
    }
}

/// Get a correction
///
/// What was taken back, and what stands since.
#[utoipa::path(get, path = "/api/v1/corrections/{id}", operation_id = "get_correction", tag = "corrections",
    security(("bearer" = ["any staff", "pass"])), params(("id" = CorrectionId, Path, description = "The correction.")),
    responses((status = 200, description = "The correction.", body = CorrectionView)))]
async fn get_correction(
    staff: StaffOrPass,
    State(app): State<App>,
    PathId(id): PathId<ids::Correction>,
) -> Result<Json<CorrectionView>, Problem> {
    let span = PageRequest { after: 0, take: 1 };
    let mut found = store::applications::corrections(app.store.reader(), span, None, Some(id), staff.scope()).await?;
    particulars::keep_corrections(&app, staff.scope(), &mut found).await?;
    found.into_iter().next().map(|row| Json(row.item)).ok_or_else(|| Problem::not_found("correction"))
}

/// Which corrections to list.
#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct CorrectionFilter {
    /// Only of this application.
    #[serde(default)]
    application_id: Option<ApplicationId>,
}

type CorrectionQuery = Paged<CorrectionFilter>;

/// List corrections
///
/// The oldest first.
#[utoipa::path(get, path = "/api/v1/corrections", operation_id = "list_corrections", tag = "corrections", security(("bearer" = ["any staff", "pass"])),
    params(CorrectionQuery), responses((status = 200, description = "A page of corrections.", body = Page<CorrectionView>)))]
async fn list_corrections(
    staff: StaffOrPass,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<CorrectionQuery>,
) -> Result<Json<Page<CorrectionView>>, Problem> {
    let span = app.cursors.span("corrections", &query, false)?;
    let mut rows =
        store::applications::corrections(app.store.reader(), span, query.application_id, None, staff.scope()).await?;
    particulars::keep_corrections(&app, staff.scope(), &mut rows).await?;
    Ok(Json(app.cursors.page("corrections", &query, rows)))
}
