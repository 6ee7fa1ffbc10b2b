//! Product on pavement is swept or blown back. Before the work is done there is nothing to have cleaned.

use super::{
    answer::Answer,
    case::{Case, SectionCase},
};

pub(super) fn judge(case: &Case<'_>, section: &SectionCase<'_>) -> Option<Answer> {
    if !section.section.touches_pavement {
        return None;
    }
    let (answer, actual) = match case.facts.pavement_cleaned {
        Some(false) => {
            let message = format!("Product was left on the pavement beside {}.", section.name());
            let hint = "Sweep or blow it back onto the lawn or into a container, then enter that it is done.";
            (Answer::broken(message, hint), Some("left on it".to_owned()))
        }
        Some(true) => (Answer::met(), Some("cleaned".to_owned())),
        None => (Answer::met(), None),
    };
    Some(answer.with("cleaned after the work".to_owned(), actual, "pavement"))
}
