//! What a correction would do: which lines stand before and after it, worked out before anything is asked of the rules.

use std::collections::BTreeSet;

use domain::{
    actor::{Actor, Role},
    decision::Decision,
    ids::{CorrectionId, SectionId},
    law::Lawbook,
    parts::Parts,
    quantity::{Area, ProductMass},
};

use super::{CorrectionChange, CorrectionInput};
use crate::{
    acts::{
        ActOutcome, BatchFacts, Provided,
        application::{ApplicationInput, AppliedLine},
        facts::{self, Line, Question, Sighting},
        fault::{ActFault, read},
        ground::{self, parts_of},
        rows::{ApplicationRow, LedgerRow},
    },
    problem::FieldFault,
};

/// So many lines has a record at most, also after it was corrected.
const MOST_LINES: usize = 20;

/// A correction that can be made, if the rules let it.
#[derive(Debug)]
pub struct Draft {
    pub application: ApplicationRow,
    /// What stands, by section.
    pub before: Vec<(SectionId, LedgerRow)>,
    /// What will stand, by section.
    pub after: Vec<Line>,
    /// Something stands on that the correction does not name.
    pub leaves_others: bool,
}

impl Draft {
    /// Works a correction out, or says why it cannot be made.
    pub fn of(actor: Actor, input: &CorrectionInput, world: &BatchFacts) -> Result<Self, Box<ActOutcome>> {
        let refused = |outcome| Err(Box::new(outcome));
        let Some(stored) = world.applications.get(&input.application_id) else {
            return refused(ActOutcome::Missing("application"));
        };
        let (application, last) = (stored.row.clone(), stored.correction_ids.last().copied());
        if facts::property(world, application.property_id, actor).is_none() {
            return refused(ActOutcome::Missing("application"));
        }
        if actor.role == Role::Technician && application.person_id != actor.person {
            return refused(ActOutcome::NotAllowed(
                "Somebody else recorded this application; that person or the office corrects it.",
            ));
        }
        if last != input.replaces {
            return refused(outdated(last));
        }
        let before = world.standing_lines(input.application_id);
        let (after, leaves_others) = match &input.change {
            None => (Vec::new(), false),
            Some(change) => match whole(change, &application, &before, world) {
                Ok(after) => (after, before.iter().any(|(section, _)| !change.names(*section))),
                Err(faults) => return refused(ActOutcome::Invalid(faults)),
            },
        };
        let draft = Self { application, before, after, leaves_others };
        if draft.changed().is_empty() {
            let detail = "would change nothing: this is what stands already";
            return refused(ActOutcome::Invalid(vec![FieldFault::at("/change", "contradiction", detail)]));
        }
        Ok(draft)
    }

    /// The content of the record. Taking it back needs nothing of it.
    pub fn recorded(&self) -> Result<ApplicationInput, ActFault> {
        read("the content of a record", &self.application.content)
    }

    fn stands(&self, section: SectionId) -> Vec<Line> {
        self.standing().into_iter().filter(|line| line.section == section).collect()
    }

    fn will_stand(&self, section: SectionId) -> Vec<Line> {
        self.after.iter().copied().filter(|line| line.section == section).collect()
    }

    /// Every section that the record is about, before or after.
    pub fn sections(&self) -> BTreeSet<SectionId> {
        let before = self.before.iter().map(|(section, _)| *section);
        before.chain(self.after.iter().map(|line| line.section)).collect()
    }

    /// Sections on which something else will stand than does.
    pub fn changed(&self) -> BTreeSet<SectionId> {
        let mut sections = self.sections();
        sections.retain(|section| self.stands(*section) != self.will_stand(*section));
        sections
    }

    /// What stands, as lines.
    pub fn standing(&self) -> Vec<Line> {
        self.before.iter().map(line_of).collect()
    }

    /// Asks the rules about all lines of the record together, as if it had not been recorded.
    pub fn judge(
        &self,
        lines: &[Line],
        services: &Provided,
        world: &BatchFacts,
        law: &Lawbook,
    ) -> Result<Decision, ActFault> {
        let (application, recorded) = (&self.application, self.recorded()?);
        // What the services said when the application was recorded, not what they say now.
        let weather = recorded.weather.joined(&services.weather);
        let question = Question {
            property: application.property_id,
            product: application.product_id,
            person: application.person_id,
            applicator_named: true,
            supervisor: recorded.supervisor_id,
            nobody_supervised: recorded.nobody_supervised,
            on: application.applied_on,
            at: recorded.started_at,
            purpose: recorded.purpose,
            equipment: recorded.equipment,
            weather: &weather,
            service_asked: services.asked,
            sighting: Sighting::of(recorded.seen.as_ref()),
            ground: Some(recorded.ground),
            pavement_cleaned: Some(recorded.pavement_cleaned),
            kept: world.kept_of(application.id, recorded.seen.as_ref()),
            lines,
            without: Some(application.id),
            without_hold: None,
            work: None,
            beside: Vec::new(),
        };
        facts::judge(&question, world, law)
    }
}

/// The sender did not know the last word on the application.
fn outdated(last: Option<CorrectionId>) -> ActOutcome {
    ActOutcome::Conflict(match last {
        Some(last) => format!(
            "The last word on this application is correction {last}. Read it; if yours still holds, name it in `replaces`."
        ),
        None => "This application has not been corrected yet; leave `replaces` out.".to_owned(),
    })
}

/// All lines as they will stand, by section, or what is wrong with the change.
fn whole(
    change: &CorrectionChange,
    application: &ApplicationRow,
    before: &[(SectionId, LedgerRow)],
    world: &BatchFacts,
) -> Result<Vec<Line>, Vec<FieldFault>> {
    let place = |at| format!("/change/lines/{at}/section_id");
    let sections = change.lines.iter().map(|line| line.section_id);
    let mut faults = FieldFault::repeats(sections, place, "stands twice; add its amounts up in one line");
    faults.extend(taken_back(change, before));
    faults.extend(nowhere(change));
    let untouched = before.iter().filter(|(section, _)| !change.names(*section));
    let mut lines: Vec<Line> = untouched.map(line_of).collect();
    for (at, line) in change.lines.iter().enumerate() {
        let pointer = format!("/change/lines/{at}");
        if line.product_lb.is_zero() {
            faults.push(FieldFault::at(
                format!("{pointer}/product_lb"),
                "out_of_range",
                "must be above zero; name the section in taken_back if nothing was put on it",
            ));
        }
        let anywhere = change.anywhere.contains(&line.section_id);
        let ground = ground((line, anywhere), application, before, world, &pointer);
        match ground.and_then(|ground| facts::line(line.section_id, ground, line.product_lb, &pointer)) {
            Ok(line) => lines.push(line),
            Err(fault) => faults.push(fault),
        }
    }
    if lines.len() > MOST_LINES {
        let detail = format!("makes a record of {} lines; it has at most {MOST_LINES}", lines.len());
        faults.push(FieldFault::at("/change/lines", "out_of_range", detail));
    }
    lines.sort_by_key(|line| line.section);
    if faults.is_empty() { Ok(lines) } else { Err(faults) }
}

/// What is taken back must stand, and cannot be put down at once.
fn taken_back(change: &CorrectionChange, before: &[(SectionId, LedgerRow)]) -> Vec<FieldFault> {
    let place = |at: usize| format!("/change/taken_back/{at}");
    let mut faults = FieldFault::repeats(change.taken_back.iter().copied(), place, "stands twice; name it once");
    for (at, section) in change.taken_back.iter().enumerate() {
        if change.lines.iter().any(|line| line.section_id == *section) {
            let detail = "stands among the lines, too; what is put down there takes the place of what stood";
            faults.push(FieldFault::at(place(at), "contradiction", detail));
        } else if before.iter().all(|(standing, _)| standing != section) {
            let detail = "has nothing of this application, so there is nothing to take back";
            faults.push(FieldFault::at(place(at), "not_found", detail));
        }
    }
    faults
}

/// What may lie anywhere is a line of the change that names no parts.
fn nowhere(change: &CorrectionChange) -> Vec<FieldFault> {
    let place = |at: usize| format!("/change/anywhere/{at}");
    let mut faults = FieldFault::repeats(change.anywhere.iter().copied(), place, "stands twice; name it once");
    for (at, section) in change.anywhere.iter().enumerate() {
        let line = change.lines.iter().find(|line| line.section_id == *section);
        if line.is_none_or(|line| !line.parts.is_empty()) {
            let detail = "is no section of a line that names no parts; state what went down there among the lines";
            faults.push(FieldFault::at(place(at), "contradiction", detail));
        }
    }
    faults
}

/// The ground of a line that is named. One that names neither area nor parts keeps what stands: the lawn was treated as it was
/// measured then, also where that measurement was rejected since. Nor is a part of it refused because the lawn was measured smaller
/// since.
fn ground(
    (line, anywhere): (&AppliedLine, bool),
    application: &ApplicationRow,
    before: &[(SectionId, LedgerRow)],
    world: &BatchFacts,
    pointer: &str,
) -> Result<(Area, Option<Parts>), FieldFault> {
    let (property, part, on) = (application.property_id, line.treated_area_sqft, application.applied_on);
    let stands = before.iter().filter(|_| line.parts.is_empty()).find(|(section, _)| *section == line.section_id);
    let stands = stands.map(line_of);
    let grows = |stands: &Line| stands.parts.is_some() && !anywhere && part.is_some_and(|part| part > stands.area);
    if let Some(stood) = stands.filter(grows) {
        let detail = format!(
            "is more than the {} on which it stands in parts of the lawn; name the parts, or the section in `anywhere`",
            stood.area.with_unit()
        );
        return Err(FieldFault::at(format!("{pointer}/treated_area_sqft"), "incomplete", detail));
    }
    let stands = stands.filter(|stands| part.is_none_or(|part| part <= stands.area));
    match stands {
        Some(stands) => {
            // More product than stood there needs ground that somebody measured.
            if line.product_lb > stands.product {
                facts::measured(world, property, line.section_id, on, pointer)?;
            }
            Ok((part.unwrap_or(stands.area), stands.parts.filter(|_| !anywhere)))
        }
        None => ground::ground(world, property, (line.section_id, &line.parts, part), on, pointer),
    }
}

/// A row that stands, as a line.
fn line_of((section, row): &(SectionId, LedgerRow)) -> Line {
    Line {
        section: *section,
        area: Area::from_raw(row.area),
        parts: parts_of(row.division, row.parts),
        product: ProductMass::from_raw(row.product),
    }
}
