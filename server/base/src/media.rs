//! Files that are kept: of which kinds, and that they are what they say.

use axum::body::Bytes;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::secret::sha256;

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

impl FileBody {
    pub fn of(media: MediaType, bytes: Bytes) -> Self {
        let sha256 = sha256(&bytes);
        Self { media, bytes, sha256 }
    }

    /// A file that comes from a form, where nobody but its content says what it is; nothing if that is no known kind.
    pub fn by_content(bytes: Bytes) -> Option<Self> {
        MediaType::of(&bytes).map(|media| Self::of(media, bytes))
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
