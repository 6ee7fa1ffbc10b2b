//! How a file comes in: PDF, PNG or JPEG, of a bounded size, and what it says it is.

use axum::{
    body::{Body, Bytes},
    extract::FromRequest,
    http::{Request, header},
};
use utoipa::{
    PartialSchema, ToSchema,
    openapi::{
        ObjectBuilder, RefOr, Schema, SchemaFormat,
        schema::{KnownFormat, Type},
    },
};

use crate::{
    media::FileBody,
    media::MediaType,
    problem::{FieldFault, Kind, Problem},
    state::App,
};

/// The largest file that is taken, 4 MiB: a label of twenty scanned pages.
pub const FILE_LIMIT: usize = 4 * 1024 * 1024;

impl FromRequest<App> for FileBody {
    type Rejection = Problem;

    async fn from_request(request: Request<Body>, app: &App) -> Result<Self, Problem> {
        let media = request.headers().get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
        let media = media.split(';').next().unwrap_or_default().trim().to_ascii_lowercase();
        let Some(said) = MediaType::ALL.into_iter().find(|known| known.name() == media) else {
            let detail = "Send the file itself as application/pdf, image/png or image/jpeg.";
            return Err(Problem::new(Kind::MediaType, detail));
        };
        let bytes = Bytes::from_request(request, app).await.map_err(|_| {
            Problem::new(Kind::TooLarge, "A file is limited to 4 MiB. Scan it in grey, or fewer pages at once.")
        })?;
        match MediaType::of(&bytes) {
            Some(found) if found == said => Ok(Self::of(found, bytes)),
            Some(found) => Err(not_what_it_says(&format!("its content is {}, not {}", found.name(), said.name()))),
            None => Err(not_what_it_says(&format!("it does not begin as {} does", said.name()))),
        }
    }
}

fn not_what_it_says(why: &str) -> Problem {
    let detail = format!("is not what Content-Type says: {why}");
    Problem::invalid(vec![FieldFault::at("", "wrong_format", detail)])
}

/// The bytes of a file, for the API document.
#[derive(Debug)]
pub struct FileBytes;

impl PartialSchema for FileBytes {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(Type::String)
            .format(Some(SchemaFormat::KnownFormat(KnownFormat::Binary)))
            .description(Some("The file itself, at most 4 MiB."))
            .max_length(Some(FILE_LIMIT))
            .into()
    }
}

impl ToSchema for FileBytes {
    fn name() -> std::borrow::Cow<'static, str> {
        "FileBytes".into()
    }
}
