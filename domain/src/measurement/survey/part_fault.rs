//! What is wrong with one part of a survey.

/// One fault of a survey: where in its parts, in one word for programs, and in a sentence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartFault {
    /// A JSON Pointer below the survey, such as `/lawn/0/outline/coordinates/0/4`.
    pub pointer: String,
    pub code: &'static str,
    pub message: String,
}

impl PartFault {
    pub(super) fn new(pointer: impl Into<String>, code: &'static str, message: &(impl ToString + ?Sized)) -> Self {
        Self { pointer: pointer.into(), code, message: message.to_string() }
    }
}
