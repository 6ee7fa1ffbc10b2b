//! What may be chosen in a field.

/// One thing to choose.
#[derive(Debug, Clone)]
pub struct Choice {
    pub value: String,
    pub words: String,
    /// Stands under "others", because it is seldom meant.
    pub aside: bool,
}

impl Choice {
    pub fn new(value: impl Into<String>, words: impl Into<String>) -> Self {
        Self { value: value.into(), words: words.into(), aside: false }
    }
}

/// Choices from pairs of the API's word and plain words.
pub fn choices(pairs: &[(&str, &str)]) -> Vec<Choice> {
    pairs.iter().map(|(value, words)| Choice::new(*value, *words)).collect()
}
