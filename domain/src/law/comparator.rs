//! How a number of the law compares.

use serde::Deserialize;

/// How a number compares: statutes say "not more than" and "less than", and mean it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Comparator {
    AtMost,
    LessThan,
    AtLeast,
    MoreThan,
}

impl Comparator {
    pub const fn label(self) -> &'static str {
        match self {
            Self::AtMost => "at most",
            Self::LessThan => "less than",
            Self::AtLeast => "at least",
            Self::MoreThan => "more than",
        }
    }

    /// Whether a value so ordered to the number satisfies the comparison.
    pub const fn holds(self, order: std::cmp::Ordering) -> bool {
        match self {
            Self::AtMost => order.is_le(),
            Self::LessThan => order.is_lt(),
            Self::AtLeast => order.is_ge(),
            Self::MoreThan => order.is_gt(),
        }
    }
}
