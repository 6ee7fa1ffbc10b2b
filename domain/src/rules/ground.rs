//! Nothing on ground that is frozen, covered with snow or saturated. A person sees that; no forecast does.

use super::{Answer, Case};
use crate::law::{duty::GroundBar, list, nutrient::Nutrient};

pub(super) fn judge(duty: &GroundBar, case: &Case<'_>) -> Answer {
    let barred = duty.words();
    let nothing = match duty.nutrients.as_slice() {
        [] => "nothing".to_owned(),
        nutrients => format!("no {}", list(nutrients, |nutrient| nutrient.words().to_owned(), "or")),
    };
    let answer = match case.facts.ground {
        None => {
            let message = format!("Nobody has looked at the ground yet; it must not be {barred}.");
            Answer::unseen(message, "Look at the ground before you start, and enter what you see.")
        }
        Some(ground) if duty.barred.contains(&ground) => {
            let message =
                format!("The ground is {}, and {nothing} may go down on ground that is {barred}.", ground.words());
            Answer::broken(message, come_back(duty))
        }
        Some(ground) if duty.measure.contains(&ground) => {
            let message =
                format!("The ground is {}; {nothing} may go down on ground that is {barred}.", ground.words());
            Answer::care(message, "Measure it before you start.")
        }
        Some(_) => Answer::met(),
    };
    answer.with(format!("not {barred}"), case.facts.ground.map(|ground| ground.words().to_owned()), "ground")
}

/// What would do: other ground, or a product that the bar is not about.
fn come_back(duty: &GroundBar) -> String {
    if duty.nutrients.is_empty() {
        return "Come back when the ground has changed.".to_owned();
    }
    // What a label states in phosphate people call phosphorus.
    let name = |nutrient: &Nutrient| match nutrient {
        Nutrient::Phosphate | Nutrient::Phosphorus => "phosphorus".to_owned(),
        other => other.words().to_owned(),
    };
    let without = list(&duty.nutrients, name, "or");
    format!("Come back when the ground has changed, or take a product without {without}.")
}
