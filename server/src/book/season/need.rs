//! Which need of a programme is a section's, and what is spent of it already.

use domain::{
    facts::PastApplication,
    land::Species,
    parts::pieces,
    programme::{
        frame::{Frame, Spared, frame},
        need::{ComputedNeed, NeedQuestion, NitrogenSource, OtherSource, Spent, reckon},
        published::Maintenance,
        schedules::published,
        timing::Shade,
    },
    quantity::{NutrientRate, RateSum},
    time::Day,
};

use super::NotPlanned;
use crate::store::{
    programmes::{Programme, ProgrammeNeed, lawns::Lawn},
    sections::{Clippings, MaintenanceLevel, ShadeClass},
};

/// The section's level, if somebody has said.
fn level(lawn: &Lawn) -> Option<Maintenance> {
    match lawn.maintenance {
        MaintenanceLevel::Low => Some(Maintenance::Low),
        MaintenanceLevel::Medium => Some(Maintenance::Medium),
        MaintenanceLevel::High => Some(Maintenance::High),
        MaintenanceLevel::Unknown => None,
    }
}

/// The entry that says most about the section.
fn entry<'a>(programme: &'a Programme, lawn: &Lawn, species: Option<Species>) -> Option<&'a ProgrammeNeed> {
    let level = level(lawn);
    let fits = |need: &&ProgrammeNeed| {
        need.section_id.is_none_or(|id| id == lawn.section_id)
            && need.species.is_none_or(|wanted| Some(wanted) == species)
            && need.maintenance.is_none_or(|wanted| Some(wanted) == level)
    };
    let says = |need: &&ProgrammeNeed| (need.section_id.is_some(), need.species.is_some(), need.maintenance.is_some());
    // Of equals the first counts.
    programme.needs.iter().rev().filter(fits).max_by_key(says)
}

/// A need, and the schedule that its nitrogen follows if it is a schedule's.
pub type FramedNeed = (ComputedNeed, Option<Frame>);

/// The section's need of the season from a day on. Without a source there is none: it is asked of the office and never guessed.
pub fn of(
    programme: &Programme,
    lawn: &Lawn,
    species: Option<Species>,
    past: &[PastApplication],
    from: Day,
) -> Result<FramedNeed, NotPlanned> {
    let refuse = |why: String| NotPlanned { code: "no_need", why };
    let Some(entry) = entry(programme, lawn, species) else {
        let turf = species.map_or("turf that nobody has named", Species::label);
        return Err(refuse(format!("has {turf}, for which the program states no need; enter one")));
    };
    let because = entry.because.as_deref().unwrap_or_default();
    let nitrogen = match (&entry.published, entry.nitrogen_lb_per_1000_sqft) {
        (_, Some(rate)) => NitrogenSource::Entered(rate, because),
        (Some(name), None) => {
            let source = published(name).ok_or_else(|| refuse(format!("needs {name}, which is not published here")))?;
            if species.is_none_or(|species| !source.species.contains(&species)) {
                let turf = species.map_or("nobody has named its turf", Species::label);
                let why = format!("cannot take its need from {name}: that is for other turf ({turf}); enter a need");
                return Err(refuse(why));
            }
            let level = level(lawn).ok_or_else(|| {
                refuse(format!(
                    "has no level of maintenance, by which {name} gives its need; enter the level or a need"
                ))
            })?;
            NitrogenSource::Published(source, level)
        }
        (None, None) => return Err(refuse("has no nitrogen need in the program; enter one".to_owned())),
    };
    let other = |reported: Option<NutrientRate>, entered: Option<NutrientRate>| match (&lawn.report, reported, entered)
    {
        (Some(report), Some(rate), _) => OtherSource::Report(rate, &report.laboratory, report.sampled_on),
        (_, None, Some(rate)) | (None, Some(_), Some(rate)) => OtherSource::Entered(rate, because),
        (_, None, None) | (None, Some(_), None) => OtherSource::Nowhere,
    };
    let report = lawn.report.as_ref();
    let question = NeedQuestion {
        nitrogen,
        phosphate: other(report.and_then(|report| report.phosphate), entry.phosphate_lb_per_1000_sqft),
        potash: other(report.and_then(|report| report.potash), entry.potash_lb_per_1000_sqft),
        clippings_left: match lawn.clippings {
            Clippings::Left => Some(true),
            Clippings::Taken => Some(false),
            Clippings::Unknown => None,
        },
        shade: match lawn.shade {
            ShadeClass::Light => Some(Shade::Light),
            ShadeClass::Medium => Some(Shade::Medium),
            ShadeClass::Heavy => Some(Shade::Heavy),
            ShadeClass::Unknown => None,
        },
        credits: programme.credits,
        spent: spent(programme, past),
    };
    let frame = match nitrogen {
        NitrogenSource::Published(source, level) => {
            let year = i16::try_from(programme.season_year).unwrap_or_else(|_| from.year());
            let spared = Spared {
                credits: programme.credits,
                clippings_left: question.clippings_left == Some(true),
                shaded: question.shade.is_some_and(|shade| shade != Shade::Light),
            };
            Some(frame(source, level, spared, (year, from), past))
        }
        NitrogenSource::Entered(..) => None,
    };
    Ok((reckon(&question), frame))
}

/// What the calendar year of the season has seen already or will see by visits, rounded up, on the ground that gets most. Loads that
/// may lie upon one another count at their own rate, as the caps count them.
fn spent(programme: &Programme, past: &[PastApplication]) -> Spent {
    let of_the_year = |past: &&PastApplication| i64::from(past.on.year()) == programme.season_year;
    let mut most = [NutrientRate::ZERO; 3];
    for piece in pieces(past.iter().filter(of_the_year).map(|past| past.parts)) {
        let mut sums: [RateSum; 3] = Default::default();
        for past in past.iter().filter(of_the_year).filter(|past| piece.may_hold(past.parts)) {
            let n = past.nutrients;
            for (sum, load) in sums.iter_mut().zip([n.nitrogen_lb.raw(), n.phosphate_lb.raw(), n.potash_lb.raw()]) {
                sum.add(load, past.area);
            }
        }
        for (most, sum) in most.iter_mut().zip(sums) {
            *most = (*most).max(sum.rounded_up());
        }
    }
    let [nitrogen, phosphate, potash] = most;
    Spent { nitrogen, phosphate, potash }
}
