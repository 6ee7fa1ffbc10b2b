//! Receipts, and the key by which they are checked.

use axum::{Json, extract::State};
use domain::time::Instant;
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    access::{Anyone, StaffOrPass},
    book::receipts::{self, Receipt},
    problem::Problem,
    routes::{Routes, routes},
    signing,
    state::App,
};

pub fn routes() -> Routes {
    routes!(get_public_key, get_receipt)
}

/// By which receipts are checked.
#[derive(Debug, Serialize, ToSchema)]
#[expect(clippy::struct_field_names, reason = "the answer calls it so, beside the same key in another form")]
struct PublicKey {
    #[schema(max_length = 36, format = "uuid")]
    book_id: String,
    #[schema(max_length = 20)]
    algorithm: &'static str,
    /// The 32 bytes of the key, base64, as a receipt names it.
    #[schema(max_length = 44)]
    public_key: String,
    /// The same as common tools read it (PEM, RFC 8410).
    #[schema(max_length = 200)]
    pem: String,
    made_at: Instant,
}

/// Get the public key
///
/// For whoever holds a receipt, so without a token: the key by which the receipts of these records are signed. It never changes, and the
/// id of the records follows from it. What a receipt is and how one is checked stands in the help, under "How records are kept and
/// checked".
#[utoipa::path(get, path = "/api/v1/public-key", operation_id = "get_public_key", tag = "journal", security(()),
    responses((status = 200, description = "The key.", body = PublicKey)))]
async fn get_public_key(_: Anyone, State(app): State<App>) -> Json<PublicKey> {
    let key = &app.signing;
    Json(PublicKey {
        book_id: key.book().to_string(),
        algorithm: "ed25519",
        public_key: signing::public_text(key.public()),
        pem: signing::pem(key.public()),
        made_at: key.made_at(),
    })
}

/// Get a receipt
///
/// How far the journal has come, signed now: to be kept where nobody of the company can change it. `swardbook verify --against` holds
/// the records against it later. Statements bring one of their own, and answers to records, corrections and clearances carry one in
/// the header `receipt`, base64.
#[utoipa::path(get, path = "/api/v1/receipt", operation_id = "get_receipt", tag = "journal", security(("bearer" = ["any staff", "pass"])),
    responses((status = 200, description = "The receipt of this moment.", body = Receipt)))]
async fn get_receipt(_: StaffOrPass, State(app): State<App>) -> Result<Json<Receipt>, Problem> {
    receipts::now(&app).await.map(Json)
}
