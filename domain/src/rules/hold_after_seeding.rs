//! New turf is left alone for a number of days. The day of seeding and the last of those days are barred too, which is the
//! strict reading of "for thirty days".

use super::{
    answer::Answer,
    case::{Case, SectionCase},
};
use crate::{application::Purpose, law::duty::HoldAfterSeeding, text::capital};

pub(super) fn judge(duty: &HoldAfterSeeding, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let (days, name, nutrient) = (i32::from(duty.days), section.name(), duty.nutrient.label());
    let age = section.section.established_on.map(|seeded| (seeded, case.facts.on.days_since(seeded)));
    let answer = match age {
        Some((seeded, age)) if (0..=days).contains(&age) => {
            let message = format!(
                "{name} was seeded or sodded on {seeded}, {age} days ago; no {nutrient} may follow within {days} days."
            );
            Answer::broken(capital(&message), format!("The first open day is {}.", seeded.plus_days(days + 1)))
        }
        Some(_) => Answer::met(),
        // An established lawn needs no date.
        None if case.facts.purpose == Purpose::Maintenance => Answer::met(),
        None => {
            let message = format!(
                "Nobody has said when {name} was seeded or sodded; no {nutrient} may follow within {days} days."
            );
            Answer::unknown(message, "Enter the day of seeding or sodding for the section.")
        }
    };
    answer.with(duty.days.to_string(), age.map(|(_, age)| age.to_string()), "days")
}
