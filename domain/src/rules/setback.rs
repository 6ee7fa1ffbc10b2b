//! A distance from water, which equipment can shorten and a strip of natural vegetation can lift.

use super::{
    answer::Answer,
    case::{Case, SectionCase},
    growing_season,
};
use crate::{
    facts::KeptDistances,
    land::Water,
    law::{
        comparator::Comparator,
        duty::{BesideWater, Setback},
    },
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
    let wanted = duty.distance_for(case.facts.equipment);
    let (water, near) = (section.section.water, section.section.water.distance());
    let too_near = |distance: &Distance| !duty.comparator.holds(distance.cmp(&wanted));
    let kept = kept_shortest(duty, case.facts.kept);
    // What the record says of the work itself comes before what is on record of the lawn.
    let (answer, actual) = match (kept.filter(too_near), kept_from_all(duty, case, water)) {
        _ if waived => (Answer::met(), near),
        (Some(kept), _) => (kept_too_little(duty, case, section, kept), Some(kept)),
        (None, _) if near.is_some_and(|near| !too_near(&near)) => (Answer::met(), near),
        (None, Some(kept)) if near.is_none() => (Answer::met(), Some(kept)),
        (None, Some(kept)) if duty.only_where.is_none() && is_treated_in_part(case, section) => {
            (part_kept_away(duty, case, section, kept), Some(kept))
        }
        (None, _) => (by_the_lawn(duty, case, section), near),
    };
    let none = (water == Water::None && actual.is_none()).then(|| "no water near".to_owned());
    answer.with(wanted.to_string(), actual.map(|distance| distance.to_string()).or(none), "ft")
}

/// The shortest that the record says was kept from anything the rule counts from.
fn kept_shortest(duty: &Setback, kept: KeptDistances) -> Option<Distance> {
    let drains = kept.from_drains.filter(|_| duty.counts.contains(&BesideWater::Drains));
    kept.from_water.into_iter().chain(drains).min()
}

/// The shortest that was kept, where the record speaks of everything that the rule counts from. Nothing of a record tells how far a
/// curb was.
fn kept_from_all(duty: &Setback, case: &Case<'_>, water: Water) -> Option<Distance> {
    let (kept, drains) = (case.facts.kept, duty.counts.contains(&BesideWater::Drains));
    let told_of_water = water == Water::None && drains || kept.from_water.is_some();
    let told_of_drains = !drains || kept.from_drains.is_some();
    let told = told_of_water && told_of_drains && !duty.counts.contains(&BesideWater::Curb);
    kept_shortest(duty, kept).filter(|_| told)
}

/// Whether a part of the section is treated: at least a hundredth of it is left out. A lawn is measured no better than that, so that a
/// square inch less is the whole lawn still, and keeps no distance that the lawn does not have. *Common practice.*
fn is_treated_in_part(case: &Case<'_>, section: &SectionCase<'_>) -> bool {
    let whole = case.sections.iter().find(|known| known.section.id == section.section.id).unwrap_or(section);
    let treated: i64 = whole.lines.iter().map(|line| line.area.raw()).sum();
    treated.saturating_mul(100) <= section.section.area.raw().saturating_mul(99)
}

fn must_stay(duty: &Setback, case: &Case<'_>) -> String {
    let equipment = case.facts.equipment;
    let (than, wanted) = (duty.comparator.label(), duty.distance_for(equipment));
    format!("with {} it must stay {than} {wanted} ft away", equipment.label())
}

fn kept_too_little(duty: &Setback, case: &Case<'_>, section: &SectionCase<'_>, kept: Distance) -> Answer {
    if duty.only_where.is_some() {
        return not_told(duty, &section.name(), Some(kept));
    }
    let message = format!(
        "By the record, {} was treated to within {kept} ft of {}; {}.",
        section.name(),
        duty.measured_from,
        must_stay(duty, case)
    );
    let hint = "Send the distance that was really kept. If it is this one, the work went beyond the rules.";
    Answer::broken(message, hint)
}

/// The lawn comes too near, and the record says that the part of it which was treated does not. Which part that was nobody measured.
fn part_kept_away(duty: &Setback, case: &Case<'_>, section: &SectionCase<'_>, kept: Distance) -> Answer {
    let message = format!(
        "{} comes too near to {}; {}. By the record a part of it was treated, and {kept} ft were kept.",
        section.name(),
        duty.measured_from,
        must_stay(duty, case)
    );
    Answer::care(capital(&message), "Check that what was treated lies so far away, and measure that part.")
}

/// What is on record of the lawn, where the record of the work says nothing that settles it.
fn by_the_lawn(duty: &Setback, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let (name, wanted) = (section.name(), duty.distance_for(case.facts.equipment));
    match section.section.water {
        Water::None if duty.counts.is_empty() => Answer::met(),
        Water::None => no_water_is_not_enough(duty, &name),
        water if duty.only_where.is_some() => not_told(duty, &name, water.distance()),
        Water::At(distance) => {
            let message =
                format!("{name} comes within {distance} ft of {}; {}.", duty.measured_from, must_stay(duty, case));
            let told = kept_from_all(duty, case, section.section.water).is_some();
            Answer::broken(capital(&message), hint((duty, case), (distance, wanted), told))
        }
        Water::Unknown => {
            let message = format!("Nobody has said how far {name} lies from {}.", duty.measured_from);
            let or = if duty.counts.is_empty() { ", or enter that there is no water near" } else { "" };
            let missing = match (case.facts.kept.from_water, case.facts.kept.from_drains) {
                (Some(_), None) if duty.counts.contains(&BesideWater::Drains) => "drains",
                (None, Some(_)) => "water",
                _ => {
                    return Answer::unknown(
                        message,
                        format!("Measure the shortest distance and enter it for the section{or}."),
                    );
                }
            };
            let hint = format!(
                "The record does not say how far the work was kept from {missing}: send that too, or measure the shortest distance and \
                 enter it for the section{or}."
            );
            Answer::unknown(message, hint)
        }
    }
}

/// That no water is near says nothing of the drains and curbs that count too.
fn no_water_is_not_enough(duty: &Setback, name: &str) -> Answer {
    let also = list(&duty.counts, |one| one.label().to_owned(), "and");
    let message = format!(
        "No water is near {name}, but the distance counts from {also} too ({}), and nobody has said how far those are.",
        duty.measured_from
    );
    let hint = "Measure the shortest distance to any of them, however long it is, and enter it for the section.";
    Answer::unseen(message, hint)
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

/// What would do at this distance: other equipment, a strip, or staying back as far as the equipment in hand must. Where the record told
/// all distances and the whole lawn was treated, one of both is not so.
fn hint((duty, case): (&Setback, &Case<'_>), (distance, wanted): (Distance, Distance), told: bool) -> String {
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
    if told {
        ways.push(
            "the record says how far the work was kept and that the whole lawn was treated; if only a part was, send the area of that part"
                .to_owned(),
        );
    } else if case.facts.are_of_done_work() && !duty.counts.contains(&BesideWater::Curb) {
        let also = if duty.counts.is_empty() { "" } else { " and from drains" };
        ways.push(format!("if only a part was treated, send how far it was kept from water{also}"));
    }
    format!("{}.", capital(&ways.join("; or ")))
}
