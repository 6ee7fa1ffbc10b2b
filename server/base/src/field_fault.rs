//! One fault of a request, as a problem document lists it.

use std::{collections::HashSet, hash::Hash};

use serde::Serialize;
use utoipa::ToSchema;

/// One fault of a request: where it is, and what is wrong there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct FieldFault {
    /// JSON Pointer into the body, as a URI fragment.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 400, example = "#/lines/0/product_lb")]
    pub pointer: Option<String>,
    /// Name of the path or query parameter or header.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 100)]
    pub parameter: Option<String>,
    /// The same fault in one word, for programs.
    #[schema(max_length = 60, example = "out_of_range")]
    pub code: String,
    #[schema(max_length = 1000, example = "must be decimal text in lb, such as \"25.6\"")]
    pub detail: String,
}

impl FieldFault {
    /// A fault in the body, at a JSON Pointer such as `/lines/0/product_lb`.
    pub fn at(pointer: impl Into<String>, code: &str, detail: impl Into<String>) -> Self {
        let pointer = truncate_chars(format!("#{}", pointer.into()), 400);
        Self { pointer: Some(pointer), parameter: None, code: code.into(), detail: truncate_chars(detail.into(), 1000) }
    }

    /// A fault in a path or query parameter or a header.
    pub fn parameter(name: impl Into<String>, code: &str, detail: impl Into<String>) -> Self {
        let name = truncate_chars(name.into(), 100);
        Self { pointer: None, parameter: Some(name), code: code.into(), detail: truncate_chars(detail.into(), 1000) }
    }

    /// Items of a list that stand in it twice, each at the pointer of its later place.
    pub fn repeats<T: Eq + Hash>(
        items: impl IntoIterator<Item = T>,
        pointer: impl Fn(usize) -> String,
        detail: &str,
    ) -> Vec<Self> {
        let mut seen = HashSet::new();
        let fault = |(at, item)| (!seen.insert(item)).then(|| Self::at(pointer(at), "repeated", detail));
        items.into_iter().enumerate().filter_map(fault).collect()
    }
}

/// A text that repeats what a caller sent, at no more than the length that the API document promises.
pub fn truncate_chars(mut text: String, most: usize) -> String {
    if text.chars().count() > most
        && let Some((at, _)) = text.char_indices().nth(most - 1)
    {
        text.truncate(at);
        text.push('…');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_later_place_of_a_repeated_item_is_named() {
        let faults = FieldFault::repeats([1, 2, 1, 1], |at| format!("/list/{at}"), "stands in the list already");
        let places: Vec<_> = faults.iter().filter_map(|fault| fault.pointer.as_deref()).collect();
        assert_eq!(places, ["#/list/2", "#/list/3"]);
    }

    #[test]
    fn a_text_is_cut_only_when_it_is_longer() {
        assert_eq!(truncate_chars("äöü".to_owned(), 3), "äöü");
        assert_eq!(truncate_chars("äöüß".to_owned(), 3), "äö…");
    }
}
