//! From the fields of a rule to a duty that judges no application.

use super::{
    comparator::Comparator,
    disclosure::{AreaThreshold, DisclosureDuty, RecordDeadline, Report, Retention, Saying},
    fields::Fields,
    kind::RuleKind,
};

/// Nothing for the kinds that judge, which convert.rs reads.
pub(super) fn disclosure(kind: RuleKind, fields: &mut Fields<'_>) -> Option<DisclosureDuty> {
    Some(match kind {
        RuleKind::RecordFields => {
            DisclosureDuty::RecordFields(fields.required_words("fields", "what a record must hold")?)
        }
        RuleKind::RecordDeadline => record_deadline(fields)?,
        RuleKind::Retention => {
            let years = fields.required_count("years", "how many years records are kept");
            let from = fields.required_word("counts_from", "\"application\" or \"end_of_employment\"");
            DisclosureDuty::Retention(Retention { years: years?, counts_from: from? })
        }
        RuleKind::Report => {
            let due = fields.month_day("due", "the last day on which it may come in");
            let Saying { words, area } = saying(fields)?;
            DisclosureDuty::Report(Report { words, due: due?, area })
        }
        RuleKind::Credential => DisclosureDuty::Credential(saying(fields)?),
        RuleKind::Notice => DisclosureDuty::Notice(saying(fields)?),
        RuleKind::Plan => DisclosureDuty::Plan(saying(fields)?),
        RuleKind::Conduct => DisclosureDuty::Conduct(saying(fields)?),
        RuleKind::Meaning => DisclosureDuty::Meaning(saying(fields)?),
        RuleKind::Penalty => DisclosureDuty::Penalty(saying(fields)?),
        _ => return None,
    })
}

fn record_deadline(fields: &mut Fields<'_>) -> Option<DisclosureDuty> {
    let hours = fields.count("hours");
    let at_once = fields.flag("during_the_work").unwrap_or(false);
    if at_once == hours.is_some() {
        fields.fault("hours", "write either the hours or `during_the_work = true`");
        return None;
    }
    Some(DisclosureDuty::RecordDeadline(RecordDeadline { hours }))
}

pub(super) fn saying(fields: &mut Fields<'_>) -> Option<Saying> {
    let words = fields.required_text("words", 400, "the duty in one plain sentence without its full stop");
    if words.is_some_and(|words| words.ends_with('.')) {
        fields.fault("words", "must not end with a full stop, which is added where the sentence is shown");
    }
    let comparator: Option<Comparator> = fields.word("area_comparator");
    let area = fields.amount("area_sqft");
    let threshold = match (comparator, area) {
        (Some(comparator @ (Comparator::AtLeast | Comparator::MoreThan)), Some(area)) => {
            Some(AreaThreshold { comparator, area })
        }
        (None, None) => None,
        _ => {
            fields.fault("area_sqft", "needs `area_comparator = \"at_least\"` or \"more_than\" beside it");
            None
        }
    };
    Some(Saying { words: words?.to_owned(), area: threshold })
}
