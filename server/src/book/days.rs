//! What is open about the stops of a day, said before the truck leaves, while the office can still do something about it.

use domain::{
    decision::Finding,
    equipment::Equipment,
    law::{Intent, Lawbook},
    time::Day,
};

use crate::{
    field_fault::truncate_chars,
    store::{
        days::{DayVisit, OpenPoint},
        sections::Section,
    },
};

/// A soil report that ends within so many days is told: a laboratory takes weeks. *Common practice.*
const SOON: i32 = 90;

/// Adds to each stop what is open about it. `certificates` says of each what stands against it by the certificate of whoever goes.
pub fn open(law: &Lawbook, day: Day, visits: &mut [DayVisit], certificates: &[Vec<Finding>]) {
    for (stop, certificate) in visits.iter_mut().zip(certificates) {
        let mut points: Vec<OpenPoint> =
            stop.sections.iter().filter_map(|section| soil(law, day, stop, section)).collect();
        if let Some(ends) = stop.client_cancelled_on {
            let words = if ends <= day {
                format!("The client's service ended on {ends}: nothing is applied here any more. Ask the office.")
            } else {
                format!("The client's service ends on {ends}.")
            };
            points.push(OpenPoint { section_id: None, words });
        }
        points.extend(certificate.iter().map(|finding| OpenPoint {
            section_id: None,
            words: truncate_chars(format!("{} {}", finding.message, finding.hint), 400),
        }));
        stop.open = points;
    }
}

/// What the rule sets of the place make of the section's newest soil report, for the product of this visit.
fn soil(law: &Lawbook, day: Day, stop: &DayVisit, section: &Section) -> Option<OpenPoint> {
    let intent = Intent {
        on: day,
        audience: stop.property.worked_by,
        kind: stop.property.kind,
        purpose: stop.visit.purpose,
        label: &stop.product.label,
        species: section.species,
        // The life of a soil report depends on no equipment; the commonest is named.
        equipment: Equipment::RotarySpreader,
    };
    let codes: Vec<String> = stop.property.rule_sets.iter().map(|code| code.0.clone()).collect();
    let life = law.strictest(&codes, &intent).soil_report_months?;
    let (name, months) = (&section.name, life.months);
    let newest = stop.newest_samples.iter().find(|sample| sample.section_id == section.id);
    let words = match newest {
        None => format!("The {name} has no soil report; this product may need one of the last {months} months here."),
        Some(sample) => {
            let ends = life.last_day(sample.sampled_on);
            if ends < day {
                format!("The soil report of the {name} ended on {ends}: it counts for {months} months here.")
            } else if ends <= day.plus_days(SOON) {
                format!("The soil report of the {name} ends on {ends}. Take a sample today if you can.")
            } else {
                return None;
            }
        }
    };
    Some(OpenPoint { section_id: Some(section.id), words })
}
