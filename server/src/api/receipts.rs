//! Receipts, and the key by which they are checked.

use axum::{Json, extract::State};
use domain::time::Instant;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::{
    access::{AnyStaff, Anyone, StaffOrPass},
    book::receipts::{self, Receipt},
    extract::ValidQuery,
    problem::Problem,
    routes::{Routes, routes},
    signing,
    state::App,
    store::{self, receipts::hash_at},
};

pub fn routes() -> Routes {
    routes!(get_public_key, get_receipt, get_receipt_standing)
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

/// Where the journal stood when a receipt was signed.
#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct StandingQuery {
    /// `Entry` of the receipt.
    #[param(minimum = 1, maximum = 9_007_199_254_740_991_i64)]
    entry: i64,
    /// `Head` of the receipt.
    #[param(min_length = 64, max_length = 64, pattern = "^[0-9a-f]{64}$")]
    head: String,
}

/// What has become of what a receipt covers.
#[derive(Debug, Serialize, ToSchema)]
struct ReceiptStanding {
    /// Whether the journal still has that entry, and all before it, as they were then. If not, an older copy was put in the place of these
    /// records: send again what is not covered by a copy.
    stands: bool,
    /// Up to which entry a copy of these records reaches that lies outside of their file, was read back, and adds up. Null as long as this
    /// server has made none since it was started.
    #[schema(minimum = 0, maximum = 9_007_199_254_740_991_i64)]
    copied_to: Option<i64>,
}

/// Get the standing of a receipt
///
/// For phones, which keep what they have sent until a copy holds it: whether these records are still those that the receipt was signed
/// of, and how far they are copied. A record can be forgotten once `stands` is true and `copied_to` is no less than the entry of the
/// receipt that came with it; while `stands` is false, it is to be sent again under its own id.
#[utoipa::path(get, path = "/api/v1/receipt/standing", operation_id = "get_receipt_standing", tag = "journal",
    security(("bearer" = ["any staff"])), params(StandingQuery),
    responses((status = 200, description = "How it stands.", body = ReceiptStanding)))]
async fn get_receipt_standing(
    _: AnyStaff,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<StandingQuery>,
) -> Result<Json<ReceiptStanding>, Problem> {
    // Before the journal is read: a copy that ends meanwhile may be of records that were put back.
    let copied_to = app.store.metrics().last_backup().filter(|last| last.fault.is_none()).and_then(|last| last.entry);
    let mut connection = store::ReadTransaction::begin(app.store.reader()).await?;
    let stands = hash_at(&mut connection, query.entry).await?.as_deref() == Some(query.head.as_str());
    Ok(Json(ReceiptStanding { stands, copied_to }))
}
