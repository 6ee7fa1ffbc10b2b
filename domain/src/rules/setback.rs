//! A distance from water, which equipment can shorten and a strip of natural vegetation can lift.

use super::{
    answer::Answer,
    case::{Case, SectionCase},
    growing_season,
};
use crate::{
    land::Water,
    law::{comparator::Comparator, duty::Setback},
    quantity::Distance,
    text::{capital, list},
};

pub(super) fn judge(duty: &Setback, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let behind_a_strip =
        duty.waived_by_strip.is_some_and(|width| section.section.natural_strip.is_some_and(|strip| strip >= width));
    let (lifted, kept) = (|| distance(duty, true, case, section), || distance(duty, false, case, section));
    if behind_a_strip {
        return lifted();
    }
    let waived = growing_season::of_purposes(&duty.waived_purposes, duty.establishment_months, case, section);
    growing_season::judge(waived, section, lifted, kept)
}

fn distance(duty: &Setback, waived: bool, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let equipment = case.facts.equipment;
    let wanted = duty.distance_for(equipment);
    let (than, name) = (duty.comparator.label(), section.name());
    let (answer, actual) = match section.section.water {
        Water::None => (Answer::met(), Some("no water near".to_owned())),
        Water::At(distance) if waived || duty.comparator.holds(distance.cmp(&wanted)) => {
            (Answer::met(), Some(distance.to_string()))
        }
        Water::At(distance) if duty.only_where.is_some() => {
            (not_told(duty, &name, Some(distance)), Some(distance.to_string()))
        }
        Water::Unknown if duty.only_where.is_some() && !waived => (not_told(duty, &name, None), None),
        Water::At(distance) => {
            let message = format!(
                "{name} comes within {distance} ft of {}; with {} it must stay {than} {wanted} ft away.",
                duty.measured_from,
                equipment.label()
            );
            (Answer::broken(capital(&message), hint(duty, distance, wanted)), Some(distance.to_string()))
        }
        Water::Unknown if waived => (Answer::met(), None),
        Water::Unknown => {
            let message = format!("Nobody has said how far {name} lies from {}.", duty.measured_from);
            let hint =
                "Measure the shortest distance and enter it for the section, or enter that there is no water near.";
            (Answer::unknown(message, hint), None)
        }
    };
    answer.with(wanted.to_string(), actual, "ft")
}

/// The distance holds only from waters of a kind that no fact tells apart.
fn not_told(duty: &Setback, name: &str, distance: Option<Distance>) -> Answer {
    let kind = duty.only_where.as_deref().unwrap_or_default();
    let near = distance.map_or_else(|| "an unknown distance".to_owned(), |distance| format!("{distance} ft"));
    let message = format!(
        "{name} comes within {near} of water; where that is {kind}, it must stay {} {} ft away.",
        duty.comparator.label(),
        duty.distance
    );
    Answer::unseen(capital(&message), format!("Find out whether the water is {kind}; if it is, stay back."))
}

/// What would do at this distance: other equipment, a strip, or staying back as far as the equipment in hand must.
fn hint(duty: &Setback, distance: Distance, wanted: Distance) -> String {
    let mut ways = Vec::new();
    if let Some((shorter, equipment)) = &duty.reduced
        && duty.comparator.holds(distance.cmp(shorter))
    {
        ways.push(format!("use {}", list(equipment, |one| one.label().to_owned(), "or")));
    }
    let too_near = match duty.comparator {
        Comparator::MoreThan => format!("{wanted} ft away or nearer"),
        _ => format!("nearer than {wanted} ft"),
    };
    ways.push(format!("leave untreated what lies {too_near} and measure the section anew"));
    if let Some(width) = duty.waived_by_strip {
        ways.push(format!("enter the strip of natural vegetation if it is at least {width} ft wide"));
    }
    format!("{}.", capital(&ways.join("; or ")))
}
