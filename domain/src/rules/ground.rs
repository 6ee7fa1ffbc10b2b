//! Nothing on ground that is frozen, covered with snow or saturated. A person sees that; no forecast does.

use super::{
    answer::Answer,
    case::Case,
    weather_age::{Age, worth},
};
use crate::{
    application::Ground,
    law::{duty::GroundBar, nutrient::Nutrient},
    quantity::{Percent, Temperature},
    text::list,
};

/// Water freezes at 32 °F.
const FREEZING: Temperature = Temperature::from_raw(320);
/// Soils hold between 40 and 50 % when every pore is full. *Common practice; from memory, so it may only warn.*
const FULL: Percent = Percent::from_raw(4_000);

pub(super) fn judge(duty: &GroundBar, case: &Case<'_>) -> Answer {
    let barred = duty.label();
    let nothing = match duty.nutrients.as_slice() {
        [] => "nothing".to_owned(),
        nutrients => format!("no {}", list(nutrients, |nutrient| nutrient.label().to_owned(), "or")),
    };
    let answer = match case.facts.ground {
        None => {
            let message = format!("Nobody has looked at the ground yet; it must not be {barred}.");
            Answer::unseen(message, "Look at the ground before you start, and enter what you see.")
        }
        Some(ground) if duty.barred.contains(&ground) => {
            let message =
                format!("The ground is {}, and {nothing} may go down on ground that is {barred}.", ground.label());
            Answer::broken(message, come_back(duty))
        }
        Some(ground) if duty.measure.contains(&ground) => {
            let message =
                format!("The ground is {}; {nothing} may go down on ground that is {barred}.", ground.label());
            Answer::care(message, "Measure it before you start.")
        }
        Some(_) => modelled(duty, case).unwrap_or_else(Answer::met),
    };
    answer.with(format!("not {barred}"), case.facts.ground.map(|ground| ground.label().to_owned()), "ground")
}

/// A model that has the soil freezing or full of water asks for a second look where such ground is barred. It never stands
/// for one: a model that has it warmer or drier says nothing.
fn modelled(duty: &GroundBar, case: &Case<'_>) -> Option<Answer> {
    let soil = case.facts.weather.soil?;
    if worth(soil.observed_at, soil.service.as_ref(), case.facts.at) == Age::Useless {
        return None;
    }
    let asks = |states: &[Ground]| duty.barred.iter().chain(&duty.measure).any(|ground| states.contains(ground));
    if asks(&[Ground::Frozen, Ground::FrozenTwoInches]) && soil.soil_temperature_f <= FREEZING {
        let message = format!("A model has the soil at {} °F, which is at or below freezing.", soil.soil_temperature_f);
        return Some(Answer::care(message, "Push a probe into the ground before you start."));
    }
    let full = soil.water_percent.filter(|water| asks(&[Ground::Saturated]) && *water >= FULL)?;
    let message = format!("A model has the soil at {full} % water by volume, which is near full.");
    Some(Answer::care(message, "Step on the lawn: no water may stand in the footprint."))
}

/// What would do: other ground, or a product that the bar is not about.
fn come_back(duty: &GroundBar) -> String {
    if duty.nutrients.is_empty() {
        return "Come back when the ground has changed.".to_owned();
    }
    // What a label states in phosphate people call phosphorus.
    let name = |nutrient: &Nutrient| match nutrient {
        Nutrient::Phosphate | Nutrient::Phosphorus => "phosphorus".to_owned(),
        other => other.label().to_owned(),
    };
    let without = list(&duty.nutrients, name, "or");
    format!("Come back when the ground has changed, or take a product without {without}.")
}
