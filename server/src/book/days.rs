//! What is open about the stops of a day, said before the truck leaves, while the office can still do something about it; and what
//! the law of each stop asks whoever works there, so that the phone can ask it without a network.

use domain::{
    decision::Finding,
    equipment::Equipment,
    facts::SiteFacts,
    ids::PersonId,
    law::{Bound, CredentialNeeded, Intent, Lawbook, nutrient::Nutrient},
    quantity::Area,
    rules::holds_unnamed,
    time::Day,
};

use crate::{
    acts::gaps::{OfTheDay, asked_on_the_spot},
    field_fault::truncate_chars,
    store::{
        days::{Colleague, DayVisit, OpenPoint, StaffMember, SupervisionNeed},
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

/// Adds to each stop what the law of the day asks of its record, and of whoever works there.
pub fn ask(law: &Lawbook, day: Day, person: PersonId, staff: &[StaffMember], visits: &mut [DayVisit]) {
    for stop in visits {
        let place = &stop.property;
        // How large the lawn is decides no duty of a record.
        let ground = SiteFacts { kind: place.kind, plan_on: place.nutrient_plan_on, area: Area::ZERO };
        let asked = OfTheDay {
            rule_sets: place.rule_sets.iter().map(|code| code.0.clone()).collect(),
            bound: Bound {
                audience: place.worked_by,
                site: Some(ground),
                pesticide: stop.product.label.pesticide().is_some(),
            },
            learned: None,
        };
        stop.asks = asked_on_the_spot(day, &asked, law);
        let label = &stop.product.label;
        let holds = |nutrient: Nutrient| !nutrient.share(label).is_zero();
        let needed = law.credentials_needed(&asked.rule_sets, asked.bound, day, holds);
        stop.supervision = supervision(&needed, day, person, staff);
    }
}

/// Who may be over a person's work, where what the person holds is not enough and a supervisor's certificate would be, or where
/// nobody read whether it would. A certificate of which nobody said which one it is may be enough, for either: the office says so, and
/// the decision is care.
fn supervision(
    needed: &[CredentialNeeded],
    day: Day,
    person: PersonId,
    staff: &[StaffMember],
) -> Option<SupervisionNeed> {
    let own = staff.iter().find(|member| member.id == person)?;
    let trained = |need: &CredentialNeeded| holds_one(own, &need.trained, day);
    let under_one: Vec<&CredentialNeeded> =
        needed.iter().filter(|need| !may_hold(own, need, day) && (trained(need) || need.supervision_unread)).collect();
    let source = under_one.first()?.source.clone();
    let was_read = under_one.iter().all(|need| trained(need));
    let may = |member: &&StaffMember| member.id != person && under_one.iter().all(|need| may_hold(member, need, day));
    Some(SupervisionNeed { source, was_read, people: staff.iter().filter(may).map(named).collect() })
}

fn may_hold(member: &StaffMember, need: &CredentialNeeded, day: Day) -> bool {
    holds_one(member, &need.held, day) || holds_unnamed(&need.rule_set, &member.held, day)
}

fn holds_one(member: &StaffMember, codes: &[String], day: Day) -> bool {
    codes.iter().any(|code| member.held.iter().any(|held| held.is(code, day)))
}

/// Who else of the staff may have been there.
pub fn colleagues(person: PersonId, staff: &[StaffMember]) -> Vec<Colleague> {
    staff.iter().filter(|member| member.id != person).map(named).collect()
}

fn named(member: &StaffMember) -> Colleague {
    Colleague { id: member.id, name: member.name.clone() }
}
