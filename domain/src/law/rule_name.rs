//! The id of a rule, as answers name it.

use serde::{Deserialize, Serialize};

/// The id of a rule.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[schema(max_length = 120, example = "us-ny.season")]
#[serde(transparent)]
pub struct RuleName(pub String);
