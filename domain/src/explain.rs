//! Where a computed figure comes from, so that a person can work it out again with a pencil.

use serde::{Deserialize, Serialize};

use crate::quantity::{Quantity, Unit};

/// How well the source of a formula is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SourceMark {
    /// Read in the source itself.
    Read,
    /// Read in something that reprints or quotes the source.
    #[serde(rename = "read_2")]
    Read2,
    /// Follows from definitions or from figures that were read.
    Computed,
    /// What the trade does, without a published source.
    CommonPractice,
    /// The company's own setting.
    Own,
}

/// One number that went in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct DerivationInput {
    #[schema(max_length = 120, example = "nitrogen on the label")]
    pub name: String,
    /// One number, or all readings of a row.
    #[schema(max_length = 4000, example = "24")]
    pub value: String,
    #[schema(max_length = 60, example = "%")]
    pub unit: String,
}

/// One conversion on the way, in words.
#[derive(Debug, utoipa::ToSchema)]
#[schema(max_length = 400, example = "1 sq ft is 0.09290304 square meters exactly")]
pub struct Conversion(pub String);

/// How one figure was worked out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Derivation {
    /// What the figure is.
    #[schema(max_length = 200, example = "product for the target")]
    pub figure: String,
    #[schema(max_length = 400, example = "target x area / 1,000 / (percent / 100)")]
    pub formula: String,
    #[schema(max_items = 200)]
    pub inputs: Vec<DerivationInput>,
    /// Conversions between units on the way, in words; empty when there are none.
    #[schema(max_items = 20, value_type = Vec<Conversion>)]
    pub conversions: Vec<String>,
    #[schema(max_length = 120, example = "25.6")]
    pub result: String,
    #[schema(max_length = 60, example = "lb")]
    pub unit: String,
    /// Where and which way it was rounded; rounding happens once, at the end.
    #[schema(max_length = 200, example = "down to the millionth of a pound")]
    pub rounding: String,
    /// Author, title and year, or the definition the formula follows from.
    #[schema(max_length = 400)]
    pub source: String,
    pub mark: SourceMark,
}

/// A sentence for a person.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[schema(max_length = 800)]
#[serde(transparent)]
pub struct Sentence(pub String);

/// A figure with its derivation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Figure<T> {
    pub value: T,
    pub derivation: Derivation,
}

impl Derivation {
    /// Begins one: what is worked out, and by which formula.
    pub fn of(figure: &str, formula: &str) -> Self {
        Self {
            figure: figure.to_owned(),
            formula: formula.to_owned(),
            inputs: Vec::new(),
            conversions: Vec::new(),
            result: String::new(),
            unit: String::new(),
            rounding: String::new(),
            source: String::new(),
            mark: SourceMark::Computed,
        }
    }

    #[must_use]
    pub fn with<U: Unit>(self, name: &str, value: Quantity<U>) -> Self {
        self.with_text(name, &value, U::SYMBOL)
    }

    #[must_use]
    pub fn with_text(mut self, name: &str, value: &dyn std::fmt::Display, unit: &str) -> Self {
        self.inputs.push(DerivationInput { name: name.to_owned(), value: value.to_string(), unit: unit.to_owned() });
        self
    }

    #[must_use]
    pub fn converting(mut self, how: &str) -> Self {
        self.conversions.push(how.to_owned());
        self
    }

    #[must_use]
    pub fn from_source(mut self, mark: SourceMark, source: &str) -> Self {
        (self.mark, self.source) = (mark, source.to_owned());
        self
    }

    /// Ends it with the result.
    pub fn gives<U: Unit>(self, value: Quantity<U>, rounding: &str) -> Figure<Quantity<U>> {
        let derivation = self.gives_text(&value, U::SYMBOL, rounding);
        Figure { value, derivation }
    }

    /// Ends it with a result that is no quantity of its own, such as a number of bags.
    #[must_use]
    pub fn gives_text(mut self, value: &dyn std::fmt::Display, unit: &str, rounding: &str) -> Self {
        (self.result, self.unit, self.rounding) = (value.to_string(), unit.to_owned(), rounding.to_owned());
        self
    }
}
