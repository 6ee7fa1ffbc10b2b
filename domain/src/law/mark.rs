//! How the text behind a value was read.

use serde::{Deserialize, Serialize};

/// How the text behind a value was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// In the statute, regulation or ordinance itself.
    Read,
    /// In a secondary text.
    #[serde(rename = "read_2")]
    Read2,
    /// From memory: warns only.
    Memory,
    /// The company's own setting, or its reading of a label.
    Own,
}
