//! Nothing on ground that is frozen, covered with snow or saturated. A person sees that; no forecast does.

use super::{Answer, Case};
use crate::law::duty::GroundBar;

pub(super) fn judge(duty: &GroundBar, case: &Case<'_>) -> Answer {
    let barred = duty.words();
    let answer = match case.facts.ground {
        None => {
            let message = format!("Nobody has looked at the ground yet; it must not be {barred}.");
            Answer::unseen(message, "Look at the ground before you start, and enter what you see.")
        }
        Some(ground) if duty.barred.contains(&ground) => {
            let message =
                format!("The ground is {}, and nothing may go down on ground that is {barred}.", ground.words());
            Answer::broken(message, "Come back when the ground has changed.")
        }
        Some(ground) if duty.measure.contains(&ground) => {
            let message = format!("The ground is {}; nothing may go down on ground that is {barred}.", ground.words());
            Answer::care(message, "Measure it before you start.")
        }
        Some(_) => Answer::met(),
    };
    answer.with(format!("not {barred}"), case.facts.ground.map(|ground| ground.words().to_owned()), "ground")
}
