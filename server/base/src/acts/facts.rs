//! From what is loaded to what rules judge: the one way in which check, clearance, record and correction put their question.

mod place;
pub mod surroundings;

use domain::{
    actor::{Actor, Role},
    application::{Ground, Purpose},
    decision::{Decision, Finding, Mark, Outcome, Verdict, decide, summary},
    equipment::Equipment,
    facts::{Facts, KeptDistances, LineFacts, SectionFacts, Supervision},
    ids::{ApplicationId, ClearanceId, PersonId, ProductId, PropertyId, SectionId},
    law::Lawbook,
    parts::Parts,
    quantity::{Area, ProductMass, StockBalance},
    time::{Day, Instant},
    weather::Weather,
};
use jiff::tz::TimeZone;

use crate::{
    acts::{
        BatchFacts, ServiceAsked, credentials,
        fault::ActFault,
        rows::{ProductRow, PropertyRow},
        seen::SeenFacts,
    },
    clock::CLOCKS_DIFFER,
    problem::FieldFault,
    zone::{self, UnknownZone},
};

/// One section's share, resolved against the book.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line {
    pub section: SectionId,
    pub area: Area,
    /// The parts of the section that it lies in, if it says so.
    pub parts: Option<Parts>,
    pub product: ProductMass,
}

/// A question to the rules.
#[derive(Debug)]
pub struct Question<'a> {
    pub property: PropertyId,
    pub product: ProductId,
    /// Who puts it down.
    pub person: PersonId,
    /// Whether that is who will do it. The office asks for whoever does.
    pub applicator_named: bool,
    /// Who looks after the one who does it, if anybody is named.
    pub supervisor: Option<PersonId>,
    /// Somebody says of work that is done that nobody did.
    pub nobody_supervised: bool,
    pub on: Day,
    pub at: Instant,
    pub purpose: Purpose,
    pub equipment: Equipment,
    pub weather: &'a Weather,
    pub service_asked: ServiceAsked,
    pub sighting: Sighting,
    pub ground: Option<Ground>,
    pub pavement_cleaned: Option<bool>,
    /// What a record says was kept from water and drains.
    pub kept: KeptDistances,
    pub lines: &'a [Line],
    /// The application that is being corrected does not count against itself.
    pub without: Option<ApplicationId>,
    /// Nor does the room that the application's own clearance holds.
    pub without_hold: Option<ClearanceId>,
    /// Work that is done; nothing before it. What the book would rather not have planned is then a finding to acknowledge,
    /// not an error.
    pub work: Option<Work>,
    /// What the act itself finds, beside the rules.
    pub beside: Vec<Finding>,
}

/// Who could see what the weather was like, beside what was measured of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sighting {
    /// The day is another than today, so its weather was asked of nobody.
    AnotherDay,
    /// Nobody has said what it was like.
    Unsaid,
    /// Somebody told of the sky or of the wind.
    Told,
}

impl Sighting {
    /// What those who were there told with a record.
    pub fn of(seen: Option<&SeenFacts>) -> Self {
        let told = seen.is_some_and(|seen| seen.sky.is_some() || seen.wind_from.is_some());
        if told { Self::Told } else { Self::Unsaid }
    }
}

/// Work that is done.
#[derive(Debug, Clone, Copy)]
pub struct Work {
    /// When its record came in.
    pub received_at: Instant,
    pub ended_at: Instant,
}

/// Says that what was sent about weather and ground is another day's.
pub const ON_THE_DAY: &str = "book.seen.on_the_day";

/// The property, if it is there and this person may know it.
pub fn property(world: &BatchFacts, id: PropertyId, actor: Actor) -> Option<&PropertyRow> {
    let property = world.properties.get(&id)?;
    let allowed = match actor.role {
        Role::Owner | Role::Office => true,
        Role::Technician => property.visited_by.contains(&actor.person),
    };
    allowed.then_some(property)
}

/// The property's zone at a moment.
pub fn zone(id: PropertyId, property: &PropertyRow, at: Instant) -> Result<TimeZone, UnknownZone> {
    let [then, now] = property.time_zones(at);
    zone::of_property_then(id, then, now)
}

/// The clock at the property, for an act. The law goes by the day there, so nothing is cleared or recorded without it.
pub fn clock(id: PropertyId, property: &PropertyRow, at: Instant) -> Result<TimeZone, FieldFault> {
    zone(id, property, at).map_err(|_| {
        let detail = format!(
            "lies in the time zone `{}`, which this server does not know, so the day there is not known. The office chooses \
             the property's zone again; then send this again",
            property.time_zones(at)[1]
        );
        FieldFault::at("/property_id", "unknown_zone", detail)
    })
}

/// A section's measured area, or why there is none. `pointer` is where the section stands in the body.
pub fn measured(
    world: &BatchFacts,
    property: PropertyId,
    section: SectionId,
    on: Day,
    pointer: &str,
) -> Result<Area, FieldFault> {
    let missing =
        || FieldFault::at(format!("{pointer}/section_id"), "not_found", "is no lawn section of this property");
    let row = world.sections.get(&section).filter(|row| row.property_id == property).ok_or_else(missing)?;
    row.area_on(on).ok_or_else(|| {
        FieldFault::at(
            format!("{pointer}/section_id"),
            "not_measured",
            "has no measurement that counts; measure it before product is put on it",
        )
    })
}

/// A section with the area that is treated, or what is wrong with it. `pointer` is where it stands in the body.
pub fn treated(
    world: &BatchFacts,
    property: PropertyId,
    section: SectionId,
    treated: Option<Area>,
    on: Day,
    pointer: &str,
) -> Result<Area, FieldFault> {
    let area = measured(world, property, section, on, pointer)?;
    match treated {
        Some(part) if part > area => Err(FieldFault::at(
            format!("{pointer}/treated_area_sqft"),
            "out_of_range",
            format!("is more than the section's measured {}; measure it anew if it has grown", area.with_unit()),
        )),
        part => Ok(part.unwrap_or(area)),
    }
}

/// No lawn takes ten pounds of anything on a square foot: half an inch of compost is about one and a half. *Common practice.* A
/// slip of the pen in amount or area must not become a figure of the year, whoever acknowledges it.
const MOST_LB_PER_SQFT: i64 = 10;

/// A line, or why nobody can have put so much on so little. `pointer` is where it stands in the body.
pub fn line(
    section: SectionId,
    (area, parts): (Area, Option<Parts>),
    product: ProductMass,
    pointer: &str,
) -> Result<Line, FieldFault> {
    // A millionth of a pound on a hundredth of a square foot: the scales of the two.
    let most = area.raw().saturating_mul(MOST_LB_PER_SQFT * 1_000_000 / 100);
    if product.raw() > most {
        let (product, area) = (product.with_unit(), area.with_unit());
        let detail = format!(
            "comes to {product} on {area}; more than {MOST_LB_PER_SQFT} lb on a square foot is a slip in the amount or in the area"
        );
        return Err(FieldFault::at(pointer, "out_of_range", detail));
    }
    Ok(Line { section, area, parts, product })
}

/// What a request says that only this server can say: that a value came from a service, and when it was fetched. Evidence
/// must not be what a caller made up.
pub fn rejects_service_values(weather: &Weather) -> Vec<FieldFault> {
    let parts = [
        (weather.air_temperature.is_some_and(|air| air.service.is_some()), "air_temperature"),
        (weather.alerts.as_ref().is_some_and(|alerts| alerts.service.is_some()), "alerts"),
        (weather.wind.is_some_and(|wind| wind.service.is_some()), "wind"),
        (weather.soil.is_some_and(|soil| soil.service.is_some()), "soil"),
    ];
    let parts = parts.into_iter().filter(|(said, _)| *said).map(|(_, part)| part.to_owned());
    let rain = weather.rain_forecast.iter().enumerate().filter(|(_, rain)| rain.service.is_some());
    let fault = |part: String| {
        let detail = "is written by this server alone, beside what it fetched itself; leave it out";
        FieldFault::at(format!("/weather/{part}/service"), "not_allowed", detail)
    };
    let mut faults: Vec<FieldFault> =
        parts.chain(rain.map(|(at, _)| format!("rain_forecast/{at}"))).map(fault).collect();
    // What a service doubts is no person's to say.
    let doubted = weather.doubted.map(|_| "is written by this server alone, from what a service doubts; leave it out");
    faults.extend(doubted.map(|detail| FieldFault::at("/weather/doubted", "not_allowed", detail)));
    faults
}

/// Sections that stand twice among the lines.
pub fn repeated(sections: impl Iterator<Item = SectionId>) -> Vec<FieldFault> {
    let place = |at| format!("/lines/{at}/section_id");
    FieldFault::repeats(sections, place, "stands twice; add its amounts up in one line")
}

/// Asks every rule of law, label and company, and the book itself. A question of which a part is not known is not decided.
pub fn judge(question: &Question<'_>, world: &BatchFacts, law: &Lawbook) -> Result<Decision, ActFault> {
    let property = world.properties.get(&question.property);
    let property = property.ok_or_else(|| ActFault::not_loaded("property", &question.property))?;
    let (product, person) = (world.product(question.product)?, world.person(question.person)?);
    let place = property.on(question.on);
    let worked_on: Vec<SectionId> = question.lines.iter().map(|line| line.section).collect();
    let supervision = match question.supervisor {
        Some(over) => Supervision::By(credentials::held(world.person(over)?)),
        None if question.nobody_supervised => Supervision::Nobody,
        // Whoever names no supervisor may have had one, such as where an earlier version of the phone did not ask. What is not said
        // asks for care.
        None => Supervision::Unsaid,
    };
    let facts = Facts {
        on: question.on,
        at: question.at,
        audience: place.worked_by,
        site: property.site_on(question.on, &worked_on),
        credentials: credentials::held(person),
        supervision,
        applicator_named: question.applicator_named,
        purpose: question.purpose,
        equipment: question.equipment,
        label: product.label.clone(),
        weather: question.weather.clone(),
        service_asked: surroundings::is_asked_and_told(question),
        ground: question.ground,
        pavement_cleaned: question.pavement_cleaned,
        kept: question.kept,
        lines: question.lines.iter().map(|line| line_facts(line, question, world)).collect::<Result<_, _>>()?,
    };
    let mut decision = decide(law, &place.rule_sets, &facts);
    let mut found = book_findings(question, property, product);
    found.extend(credentials::run_out(person, question.on, &decision.rule_sets));
    found.extend(place::right_law(place, property.local_rules_checked_on(question.on), question.on, law));
    found.extend(surroundings::found(question, &product.label, &decision));
    found.extend(question.beside.iter().cloned());
    if !found.is_empty() {
        decision.verdict = found.iter().fold(decision.verdict, |verdict, finding| verdict.max(finding.verdict));
        decision.findings.extend(found);
        decision.findings.sort_by_key(|finding| std::cmp::Reverse(finding.verdict));
        decision.summary = summary(decision.verdict, &decision.findings);
    }
    Ok(decision)
}

fn line_facts(line: &Line, question: &Question<'_>, world: &BatchFacts) -> Result<LineFacts, ActFault> {
    let missing = |what| ActFault::not_loaded(what, &line.section);
    let row = world.sections.get(&line.section).ok_or_else(|| missing("section"))?;
    let stood = row.on(question.on);
    let section = SectionFacts {
        id: line.section,
        water: stood.water(),
        name: stood.name,
        // A correction may leave a line on a lawn whose measurement was rejected since: it is as large as that, at least.
        area: row.area_on(question.on).unwrap_or(line.area),
        species: stood.species,
        natural_strip: stood.natural_strip_ft,
        established_on: stood.established_on,
        touches_pavement: stood.touches_pavement,
        divisions: row.divisions(),
        soil_reports: row.soil_reports(),
        past: row
            .past(Some(question.product), question.without, question.without_hold, |id| world.earlier_product(id))?,
    };
    Ok(LineFacts { section, area: line.area, parts: line.parts, product: line.product })
}

/// What the company's own book says: client, product and stock.
fn book_findings(question: &Question<'_>, property: &PropertyRow, product: &ProductRow) -> Vec<Finding> {
    let mut findings = Vec::new();
    if let Some(day) = property.cancelled_on(question.on).filter(|day| *day <= question.on) {
        findings.push(book_finding(
            "book.client.active",
            Verdict::Stop,
            format!("The client ended the service on {day}."),
            "Do not apply. If the client has come back, the office takes the end away from the day on which they came back; a wrong day is corrected in the client's history.",
        ));
    }
    if product.status != "active" {
        findings.push(book_finding(
            "book.product.active",
            Verdict::Stop,
            format!("{} is marked \"{}\" and not to be used.", product.name, product.status),
            "Use another product, or ask the office to release this one.",
        ));
    }
    if question.work.is_some_and(|work| work.ended_at.since(work.received_at) > CLOCKS_DIFFER) {
        findings.push(book_finding(
            "book.record.not_ahead",
            Verdict::Stop,
            "By this record the work ends later than the server's clock says it is now.".to_owned(),
            "Correct the phone's clock and the time of the work. If the work is done and the time cannot be put right, acknowledge this and say why.",
        ));
    }
    let used: i64 = question.lines.iter().map(|line| line.product.raw()).sum();
    // A check or a clearance may come before the delivery is booked; a record may not pass unseen.
    if question.work.is_some() && product.balance < used {
        let left = StockBalance::from_raw(product.balance).with_unit();
        findings.push(book_finding(
            "book.stock.covers",
            Verdict::Care,
            format!("The book has {left} of {} in stock, less than was put down.", product.name),
            "The office books the missing delivery or counts the stock.",
        ));
    }
    findings
}

/// A finding of the company's own book.
pub fn book_finding(rule: &str, verdict: Verdict, message: String, hint: &str) -> Finding {
    Finding {
        key: rule.to_owned(),
        rule: rule.to_owned(),
        section_id: None,
        outcome: if verdict == Verdict::Stop { Outcome::Broken } else { Outcome::Care },
        verdict,
        message,
        limit: None,
        actual: None,
        unit: None,
        citation: "The company's own book".to_owned(),
        href: None,
        mark: Mark::Own,
        since: None,
        hint: hint.to_owned(),
    }
}
