//! At least so much of all nitrogen must be slow-release. The share is of nitrogen, never of the product's weight.
//!
//! Where a law says that only nitrogen which does not dissolve in water counts, the label's single forms decide: water-insoluble
//! nitrogen counts, slowly available water-soluble nitrogen does not, and of coated nitrogen nobody can say, because what the
//! coat holds is soluble.
//!
//! Where the share is asked only of ground that no fact tells apart, such as the shore of some waters, it never refuses: near water
//! a person must say whether this is such ground.
//!
//! Where a law says how much phosphorus a slow-release fertilizer may hold, one with more is none, however slow its nitrogen is.
//!
//! Where a law counts enhanced-efficiency nitrogen of every kind, a product that is labelled as such and not slow enough by
//! itself is stabilised in part, and its share is to be read on the label.

use super::{answer::Answer, case::Case};
use crate::{
    land::Water,
    law::{
        duty::SlowShare,
        nutrient::{PHOSPHORUS_PARTS, WHOLE},
    },
    product::Label,
    quantity::Percent,
};

pub(super) fn judge(duty: &SlowShare, case: &Case<'_>) -> Answer {
    let label = &case.facts.label;
    let answer = if duty.not_water_soluble { not_water_soluble(duty, label) } else { slow(duty, label) };
    let answer = if answer.severity() == 0 { too_much_phosphorus(duty, label).unwrap_or(answer) } else { answer };
    match &duty.only_where {
        Some(ground) if answer.severity() > 0 => only_where(ground, &answer, case),
        _ => answer,
    }
}

/// The share is asked of ground that no fact tells apart: none of it lies away from water, and beside water a person must say.
fn only_where(ground: &str, answer: &Answer, case: &Case<'_>) -> Answer {
    let near = case.facts.lines.iter().find(|line| line.section.water != Water::None);
    let (limit, actual, unit) = (answer.limit.clone(), answer.actual.clone(), answer.unit.clone());
    let asked = match near {
        None => Answer::met(),
        Some(line) => {
            let message = format!("Where {} lies {ground}: {}", line.section.name, answer.message);
            Answer::unseen(message, format!("Find out whether it lies {ground}. {}", answer.hint))
        }
    };
    Answer { limit, actual, unit, ..asked }
}

/// A product with more phosphorus than the law lets a slow-release fertilizer hold. P is 0.4364 of P2O5.
fn too_much_phosphorus(duty: &SlowShare, label: &Label) -> Option<Answer> {
    let most = duty.phosphorus_at_most?;
    let (parts, whole) = (i128::from(PHOSPHORUS_PARTS), i128::from(WHOLE));
    let held = i128::from(label.phosphate_percent.raw()) * parts;
    if held <= i128::from(most.raw()) * whole {
        return None;
    }
    let phosphorus = Percent::from_raw(i64::try_from((held + whole - 1) / whole).unwrap_or(i64::MAX));
    let message = format!(
        "This product holds {} % P2O5, which is {phosphorus} % P; slow-release fertilizer with more than {most} % P is not meant here.",
        label.phosphate_percent
    );
    let answer = Answer::broken(message, format!("Take a product with at most {most} % P."));
    Some(answer.with(most.to_string(), Some(phosphorus.to_string()), "% P"))
}

/// Whether a part of the label is at least the share of its nitrogen.
fn reaches(duty: &SlowShare, part: Percent, label: &Label) -> bool {
    let wanted = i128::from(duty.share.raw()) * i128::from(label.nitrogen_percent.raw());
    duty.comparator.holds((i128::from(part.raw()) * 10_000).cmp(&wanted))
}

fn slow(duty: &SlowShare, label: &Label) -> Answer {
    let actual = label.slow_share().map_or_else(String::new, |share| share.to_string());
    let answer = if reaches(duty, label.slow_nitrogen_percent, label) {
        Answer::met()
    } else if duty.enhanced_counts && label.enhanced_efficiency {
        let (than, share) = (duty.comparator.label(), duty.share);
        let message = format!(
            "Of this product's N {actual} % is slow-release; with N that is enhanced in another way it must be {than} {share} %, and how much that is no label fact says."
        );
        Answer::care(message, "Read on the label how much of its N is of enhanced efficiency.")
    } else {
        let (than, share) = (duty.comparator.label(), duty.share);
        let message = format!("Of this product's N {actual} % is slow-release; it must be {than} {share} %.");
        Answer::broken(message, format!("Take a product whose N is {than} {share} % slow-release."))
    };
    answer.with(duty.share.to_string(), Some(actual), "% of all N")
}

fn not_water_soluble(duty: &SlowShare, label: &Label) -> Answer {
    // What is not slow at all cannot be slow by the stricter meaning.
    if !reaches(duty, label.slow_nitrogen_percent, label) {
        return slow(duty, label);
    }
    let (than, share) = (duty.comparator.label(), duty.share);
    let another = format!("Take a product whose N is {than} {share} % water-insoluble.");
    let answer = match label.printed.as_ref().and_then(|printed| printed.nitrogen_forms) {
        None => Answer::unknown(
            format!(
                "Slow-release N that dissolves in water does not count here, and the label's forms of N are not in the book; {than} {share} % of its N must not be water-soluble."
            ),
            "Enter the lines beneath total nitrogen from the label.",
        ),
        Some(forms) if reaches(duty, forms.water_insoluble_percent, label) => Answer::met(),
        Some(forms) => {
            let with_coated =
                Percent::from_raw(forms.water_insoluble_percent.raw() + forms.coated_slow_release_percent.raw());
            if reaches(duty, with_coated, label) {
                let message = format!(
                    "Without its coated N, this product's N is not {than} {share} % slow-release, and whether coated N that dissolves in water counts here is not settled."
                );
                Answer::care(message, format!("{another} Or ask the authority."))
            } else {
                let message = format!(
                    "This product's slow-release N dissolves in water and does not count here; {than} {share} % of its N must not be water-soluble."
                );
                Answer::broken(message, another)
            }
        }
    };
    let actual = label.slow_share().map(|share| share.to_string());
    answer.with(share.to_string(), actual, "% of all N")
}
