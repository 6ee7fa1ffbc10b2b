//! The pesticide half of a combination product, as its label prints it.

use serde::{Deserialize, Serialize};

use super::epa::EpaRegistration;
use crate::quantity::{Percent, ProductRate};

/// The word that a pesticide label must bear.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SignalWord {
    Caution,
    Warning,
    Danger,
    DangerPoison,
}

impl SignalWord {
    /// How a label prints it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Caution => "CAUTION",
            Self::Warning => "WARNING",
            Self::Danger => "DANGER",
            Self::DangerPoison => "DANGER, POISON",
        }
    }
}

/// An active ingredient, in percent of the weight of the product.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ActiveIngredient {
    #[schema(min_length = 1, max_length = 120, format = "line")]
    pub name: String,
    pub percent: Percent,
}

/// The pesticide half of a combination product. Such a product is a pesticide, and its label binds as one. What was added to this
/// after the first labels is named only where it is there, so that earlier labels read as they were written.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PesticidePart {
    pub epa_registration: EpaRegistration,
    /// The establishment number as printed.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 40, example = "6767-GA-1", format = "line")]
    pub establishment: Option<String>,
    #[serde(default)]
    pub signal_word: Option<SignalWord>,
    /// The statement of ingredients as printed.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 400, format = "line")]
    pub active_ingredients: Option<String>,
    /// The same one by one.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 12)]
    pub ingredients: Vec<ActiveIngredient>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 400, format = "line")]
    pub target_pests: Option<String>,
    /// Least product on 1,000 sq ft that the label names. The most is the label's own limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lowest_product_lb_per_1000_sqft: Option<ProductRate>,
    /// So many applications a year, and no more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 52)]
    pub most_applications_a_year: Option<u16>,
    /// So many days lie between two applications at least.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 366)]
    pub least_days_between: Option<u16>,
    /// How long people and pets stay off the treated ground.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 720)]
    pub reentry_hours: Option<u16>,
    /// The same in the label's words, such as until dry.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 300, format = "line")]
    pub reentry_words: Option<String>,
    /// Whom the label wants to be told before the work, and of what.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 300, format = "line")]
    pub notice_before: Option<String>,
    /// What it wants left or posted after the work.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 300, format = "line")]
    pub notice_after: Option<String>,
}

impl PesticidePart {
    /// What acts in it, in words; nothing where nobody copied it.
    pub fn ingredients_in_words(&self) -> Option<String> {
        let each = self.ingredients.iter().map(|one| format!("{} {} %", one.name, one.percent));
        let told = each.collect::<Vec<_>>().join(", ");
        if told.is_empty() { self.active_ingredients.clone() } else { Some(told) }
    }

    /// How long people and pets stay off the treated ground, in words that follow a colon; nothing where nobody copied it. The label's
    /// own words are kept as they are, with the full stop that they may end in.
    pub fn reentry(&self) -> Option<String> {
        let hours = self.reentry_hours.map(|hours| match hours {
            1 => "one hour after the work".to_owned(),
            hours => format!("{hours} hours after the work"),
        });
        match (hours, &self.reentry_words) {
            (Some(hours), Some(words)) => Some(format!("{hours}; by the label: {words}")),
            (hours, words) => hours.or_else(|| words.clone()),
        }
    }
}
