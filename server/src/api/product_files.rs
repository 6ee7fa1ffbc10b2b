//! Labels and safety data sheets of products, to be read on the phone.

use axum::{
    Json,
    extract::State,
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use domain::{
    ids::{self, ProductFileId, ProductId},
    time::Day,
};
use serde::{Deserialize, Serialize};
use utoipa::IntoParams;

use crate::{
    access::{AnyStaff, OfficeOrOwner},
    api::{ListQuery, fingerprint_at},
    book::office::{self, IdempotentRequest},
    extract::{IdempotencyKey, IfNoneMatch, PathId, ValidQuery},
    file_body::{FILE_LIMIT, FileBytes},
    media::FileBody,
    paging::Page,
    problem::{Kind, Problem},
    reply::Created,
    routes::{Routes, routes},
    secret::fingerprint,
    state::App,
    store::{
        self,
        journal::JournalContext,
        product_files::{About, FileKind, ProductFile},
    },
};

pub fn routes() -> Routes {
    routes!(create_product_file, list_product_files, get_product_file, get_product_file_content)
        .with_body_limit(FILE_LIMIT)
}

/// What a browser's own viewer needs to show a PDF or a picture: the file as an object or image, and the viewer's own styles. No
/// script runs, and no page may frame it.
const VIEWER: &str =
    "default-src 'none'; object-src 'self'; img-src 'self'; style-src 'unsafe-inline'; frame-ancestors 'none'";

#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct FileQuery {
    /// What the file is.
    #[param(inline)]
    kind: FileKind,
    /// Day that the file itself bears, such as the revision of a safety data sheet.
    #[serde(default)]
    dated: Option<Day>,
}

/// A file that the product has already.
fn there_already(error: sqlx::Error) -> Problem {
    if store::broken_constraint(&error).is_some_and(|columns| columns.starts_with("product_files.product_id")) {
        Problem::new(Kind::Conflict, "This product has this very file already; it is kept once.")
    } else {
        error.into()
    }
}

/// Create a product file
///
/// The label or the safety data sheet, as the file itself: PDF, PNG or JPEG, at most 4 MiB, and what it says it is. Its bytes
/// are kept once by their hash and never edited; a newer one stands beside the older.
#[utoipa::path(post, path = "/api/v1/products/{id}/files", operation_id = "create_product_file", tag = "products",
    security(("bearer" = ["office", "owner"])), params(("id" = ProductId, Path, description = "The product."), FileQuery, IdempotencyKey),
    request_body(description = "The file.", content((FileBytes = "application/pdf"), (FileBytes = "image/png"), (FileBytes = "image/jpeg"))),
    responses((status = 201, description = "Added.", body = ProductFile, headers(("Location" = String, description = "Where it is.")))))]
pub async fn create_product_file(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    PathId(product): PathId<ids::Product>,
    ValidQuery(query): ValidQuery<FileQuery>,
    key: IdempotencyKey,
    file: FileBody,
) -> Result<Created, Problem> {
    let at = app.clock.now();
    let id: ProductFileId = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "product_file.added", subject: id.uuid() };
    let content = fingerprint(&serde_json::json!([query.kind, query.dated, file.sha256]));
    let repeat =
        IdempotentRequest { key, route: "create_product_file", fingerprint: fingerprint_at(product, &content) };
    office::create(&app, deed, repeat, format!("/api/v1/product-files/{id}"), move |connection| {
        Box::pin(async move {
            let known = store::products::get(&mut *connection, product).await?;
            known.ok_or_else(|| Problem::not_found("product"))?;
            let about = About { id, product, kind: query.kind, dated: query.dated, person: actor.person, at };
            store::product_files::insert(connection, about, &file).await.map_err(there_already)
        })
    })
    .await
}

/// List a product's files
///
/// Labels and safety data sheets in the order in which they were added, without their bytes.
#[utoipa::path(get, path = "/api/v1/products/{id}/files", operation_id = "list_product_files", tag = "products",
    security(("bearer" = ["any staff"])), params(("id" = ProductId, Path, description = "The product."), ListQuery),
    responses((status = 200, description = "A page of files.", body = Page<ProductFile>)))]
async fn list_product_files(
    _: AnyStaff,
    State(app): State<App>,
    PathId(product): PathId<ids::Product>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<ProductFile>>, Problem> {
    let list = format!("products/{product}/files");
    let span = app.cursors.span(&list, &query, false)?;
    let known = store::products::get(app.store.reader(), product).await?;
    known.ok_or_else(|| Problem::not_found("product"))?;
    let rows = store::product_files::list(app.store.reader(), span, product).await?;
    Ok(Json(app.cursors.page(&list, &query, rows)))
}

async fn known(app: &App, id: ProductFileId) -> Result<ProductFile, Problem> {
    let file = store::product_files::get(app.store.reader(), id).await?;
    file.ok_or_else(|| Problem::not_found("product file"))
}

/// Get the description of a product file
///
/// What it is, of which day, how large, and its hash; the bytes are at `content`.
#[utoipa::path(get, path = "/api/v1/product-files/{id}", operation_id = "get_product_file", tag = "products",
    security(("bearer" = ["any staff"])), params(("id" = ProductFileId, Path, description = "The file.")),
    responses((status = 200, description = "About the file.", body = ProductFile)))]
async fn get_product_file(
    _: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::ProductFile>,
) -> Result<Json<ProductFile>, Problem> {
    known(&app, id).await.map(Json)
}

/// Get the content of a product file
///
/// The bytes as they came in. They never change, so a phone asks with `If-None-Match` and need not load them again.
#[utoipa::path(get, path = "/api/v1/product-files/{id}/content", operation_id = "get_product_file_content", tag = "products",
    security(("bearer" = ["any staff"])), params(("id" = ProductFileId, Path, description = "The file.")),
    responses((status = 304, description = "You have it already."),
              (status = 200, description = "The file.", content((FileBytes = "application/pdf"), (FileBytes = "image/png"), (FileBytes = "image/jpeg")),
               headers(("ETag" = String, description = "SHA-256 of the bytes."),
                       ("Content-Disposition" = String, description = "Shown in place, with a name to save it by.")))))]
async fn get_product_file_content(
    _: AnyStaff,
    State(app): State<App>,
    caller_has: IfNoneMatch,
    PathId(id): PathId<ids::ProductFile>,
) -> Result<Response, Problem> {
    let file = known(&app, id).await?;
    let tag = format!("\"{}\"", file.sha256);
    let mut headers = HeaderMap::new();
    let text = |text: &str| HeaderValue::from_str(text).map_err(|error| Problem::fault(&error));
    headers.insert(header::ETAG, text(&tag)?);
    // A label is nobody's secret, and large: a browser keeps it and asks whether it is still the same.
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("private, no-cache"));
    if caller_has.has(&tag) {
        return Ok((StatusCode::NOT_MODIFIED, headers).into_response());
    }
    let bytes = store::product_files::bytes(app.store.reader(), &file.sha256).await?;
    let bytes = bytes.ok_or_else(|| Problem::not_found("product file"))?;
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(file.media_type.name()));
    // The name is the server's own, so that nothing that was sent can break out of the header.
    let kind = match file.kind {
        FileKind::Label => "label",
        FileKind::SafetyDataSheet => "safety-data-sheet",
    };
    let short: String = file.sha256.chars().take(12).collect();
    let disposition = format!("inline; filename=\"{kind}-{short}.{}\"", file.media_type.ending());
    headers.insert(header::CONTENT_DISPOSITION, text(&disposition)?);
    headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(VIEWER));
    Ok((headers, bytes).into_response())
}
