//! How a file comes in: PDF, PNG or JPEG, of a bounded size, and what it says it is.

use axum::{
    body::{Body, Bytes},
    extract::FromRequest,
    http::{Request, header},
};
use domain::journal::hex;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use utoipa::{
    PartialSchema, ToSchema,
    openapi::{
        ObjectBuilder, RefOr, Schema, SchemaFormat,
        schema::{KnownFormat, Type},
    },
};

use crate::{
    app::App,
    problem::{FieldFault, Kind, Problem},
};

/// The largest file that is taken, 4 MiB: a label of twenty scanned pages.
pub const FILE_LIMIT: usize = 4 * 1024 * 1024;

/// The kinds of file that are kept: what a phone can show by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub enum MediaType {
    #[serde(rename = "application/pdf")]
    Pdf,
    #[serde(rename = "image/png")]
    Png,
    #[serde(rename = "image/jpeg")]
    Jpeg,
}

impl MediaType {
    pub const ALL: [Self; 3] = [Self::Pdf, Self::Png, Self::Jpeg];

    pub const fn name(self) -> &'static str {
        match self {
            Self::Pdf => "application/pdf",
            Self::Png => "image/png",
            Self::Jpeg => "image/jpeg",
        }
    }

    /// How a file of it is called at its end.
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Pdf => "pdf",
            Self::Png => "png",
            Self::Jpeg => "jpg",
        }
    }

    /// With what a file of it begins (ISO 32000-1, 7.5.2; PNG specification, 5.2; JPEG, ITU-T T.81, B.1.1.3: start of image,
    /// then another marker).
    const fn beginning(self) -> &'static [u8] {
        match self {
            Self::Pdf => b"%PDF-",
            Self::Png => b"\x89PNG\r\n\x1a\n",
            Self::Jpeg => b"\xff\xd8\xff",
        }
    }

    /// What a file is by its content, whatever it is called.
    pub fn of(bytes: &[u8]) -> Option<Self> {
        Self::ALL.into_iter().find(|media| bytes.starts_with(media.beginning()))
    }
}

/// A file that is what it says it is.
#[derive(Debug)]
pub struct FileBody {
    pub media: MediaType,
    pub bytes: Bytes,
    /// In hexadecimal.
    pub sha256: String,
}

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

impl FileBody {
    fn of(media: MediaType, bytes: Bytes) -> Self {
        let sha256 = hex(&Sha256::digest(&bytes));
        Self { media, bytes, sha256 }
    }

    /// A file that comes from a form, where nobody but its content says what it is; nothing if that is no known kind.
    pub fn by_content(bytes: Bytes) -> Option<Self> {
        MediaType::of(&bytes).map(|media| Self::of(media, bytes))
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_known_by_how_it_begins() {
        assert_eq!(MediaType::of(b"%PDF-1.7\n"), Some(MediaType::Pdf));
        assert_eq!(MediaType::of(b"\x89PNG\r\n\x1a\n\0\0"), Some(MediaType::Png));
        assert_eq!(MediaType::of(b"\xff\xd8\xff\xe0\0\x10JFIF"), Some(MediaType::Jpeg));
        for other in [&b""[..], b"<html>%PDF-1.7", b"GIF89a", b"\xff\xd8", b"PK\x03\x04"] {
            assert_eq!(MediaType::of(other), None, "{other:?}");
        }
    }
}
