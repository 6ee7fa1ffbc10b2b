//! At least so much of all nitrogen must be slow-release. The share is of nitrogen, never of the product's weight.

use super::{answer::Answer, case::Case};
use crate::law::duty::SlowShare;

pub(super) fn judge(duty: &SlowShare, case: &Case<'_>) -> Answer {
    let label = &case.facts.label;
    let slow = i128::from(label.slow_nitrogen_percent.raw()) * 10_000;
    let wanted = i128::from(duty.share.raw()) * i128::from(label.nitrogen_percent.raw());
    let actual = label.slow_share().map_or_else(String::new, |share| share.to_string());
    let answer = if duty.comparator.holds(slow.cmp(&wanted)) {
        Answer::met()
    } else {
        let (than, share) = (duty.comparator.label(), duty.share);
        let message = format!("Of this product's N {actual} % is slow-release; it must be {than} {share} %.");
        Answer::broken(message, format!("Take a product whose N is {than} {share} % slow-release."))
    };
    answer.with(duty.share.to_string(), Some(actual), "% of all N")
}
