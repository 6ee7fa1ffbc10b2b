//! Season's plans read out: of a section, of the company with what to buy, and the visits of a round made from it.

mod visits;

use std::{borrow::Borrow, collections::HashMap};

use askama::Template;
use axum::{Json, extract::State, response::Response};
use domain::{
    ids::{self, ProductId, ProgrammeId, SectionId},
    product::arithmetic::GradeNutrient,
    programme::{
        UnmetNeed,
        frame::{PlannedStep, StepOutcome},
    },
    quantity::Area,
    time::Day,
};

pub use crate::pages::plans::visits::{add, new};
use crate::{
    api::{
        self,
        plans::{CompanyPlanQuery, SectionPlanQuery},
    },
    book::season::{CompanyPlan, PlannedStop, SectionPlan},
    extract::{PathId, ValidQuery},
    pages::{
        form::{Choice, Field, Form, FormData, choices},
        office::{ALL_ROWS, dates},
        office_session::OfficeSession,
        page, programmes, sections,
    },
    problem::Problem,
    scope::Scope,
    state::App,
    store::{
        self,
        programmes::{
            Programme,
            lawns::{Lawns, lawns},
        },
        sections::Section,
        settings::DateOrder,
    },
};

fn aim() -> Field {
    let aims = choices(&[("least_cost", "lowest cost"), ("fewest_products", "fewest products, then lowest cost")]);
    Field::one("aim", "Prefer", aims).optional()
}

fn from() -> Field {
    Field::day("from", "From").optional().help("Today, if it is empty.")
}

/// Something that cannot be met, and what stands against it.
pub struct Unmet {
    pub words: String,
    pub against: Vec<String>,
}

/// A need that cannot be met, in words.
pub fn unmet(one: &UnmetNeed) -> Unmet {
    let nutrient = match one.nutrient {
        GradeNutrient::Nitrogen => "nitrogen",
        GradeNutrient::Phosphate => "P2O5",
        GradeNutrient::Potash => "K2O",
    };
    let words = format!("{} lb {nutrient} per 1,000 sq ft cannot be met", one.missing_lb_per_1000_sqft);
    Unmet { words, against: one.conflicts_with.iter().map(|words| sentence(words)).collect() }
}

/// What becomes of a step of the schedule, with the sign of how grave it is.
pub const fn outcome(step: &PlannedStep) -> &'static str {
    match (step.outcome, step.optional) {
        (StepOutcome::Planned, _) => "✓ planned",
        (StepOutcome::InPart, _) => "▲ planned in part",
        (StepOutcome::LeftOut, false) => "▲ left out",
        (StepOutcome::LeftOut, true) => "● left out",
        (StepOutcome::Done, _) => "✓ done, or visits are planned",
        (StepOutcome::Over, _) => "● its days are over",
        (StepOutcome::NotAtThisLevel, _) => "● not at this care level",
    }
}

/// A constraint as a sentence of its own.
pub fn sentence(words: &str) -> String {
    let mut letters = words.trim_end_matches('.').chars();
    let first: String = letters.next().into_iter().flat_map(char::to_uppercase).collect();
    format!("{first}{}.", letters.as_str())
}

fn section_form(section: &Section, programmes: &[Programme]) -> Form {
    let at = format!("/office/sections/{}", section.id);
    let named = |one: &Programme| Choice::new(one.id.to_string(), format!("{}, {}", one.name, one.season_year));
    let mut programme = Field::one("programme_id", "Program", programmes.iter().map(named).collect());
    if let [only] = programmes {
        programme.value = vec![only.id.to_string()];
    }
    Form::new(format!("The season's plan of the {}", section.name), format!("{at}/plan"), "Work out the plan", vec![programme, aim(), from()])
        .back(at)
        .asking()
        .note("Worked out anew from the law of each day, the records, the soil report and the stock. It stores nothing and permits nothing.")
}

#[derive(Template)]
#[template(path = "section_plan.html")]
struct SectionPlanPage {
    dates: DateOrder,
    plan: SectionPlan,
    form: Form,
}

/// The plan of one section, or what it is asked with.
pub async fn of_section(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
    sent: FormData,
) -> Result<Response, Problem> {
    let section = sections::get(&app, id).await?;
    let form = section_form(&section, &programmes::all(&app).await?);
    if sent.is_empty() {
        return Ok(form.show());
    }
    let form = form.sent(&sent);
    let planned = async {
        let query = form.query::<SectionPlanQuery>(&app, "get_section_plan")?;
        api::plans::get_section_plan(desk.office(), State(app.clone()), PathId(id), ValidQuery(query)).await
    };
    match planned.await {
        Ok(Json(plan)) => Ok(page(SectionPlanPage { dates: dates(&app).await?, plan, form }.render())),
        Err(problem) => form.refuse(problem),
    }
}

/// Clients that a form offers to choose from; of a larger company the address may name one.
const CLIENTS: usize = 400;

async fn company_form(app: &App, programme: &Programme) -> Result<Form, Problem> {
    let at = format!("/office/programmes/{}", programme.id);
    let mut clients = store::clients::list(app.store.reader(), ALL_ROWS, Scope::Company).await?;
    let help = if clients.len() > CLIENTS {
        format!("The whole company, if nobody is chosen. Only the first {CLIENTS} clients are listed here.")
    } else {
        "The whole company, if nobody is chosen.".to_owned()
    };
    clients.truncate(CLIENTS);
    let clients = clients.into_iter().map(|row| Choice::new(row.item.id.to_string(), row.item.name)).collect();
    let fields = vec![
        Field::hidden("work", "yes"),
        Field::one("client_id", "Only the lawns of", clients).optional().help(help),
        aim(),
        from(),
        Field::number("lead_days", "Days from order to delivery").optional().help("14, if it is empty."),
        Field::amount("spare_percent", "Extra to buy, %").optional().help("5 by common practice, if it is empty."),
    ];
    let form = Form::new(format!("Plan of the company: {}", programme.name), format!("{at}/plan"), "Work out the plan", fields)
        .back(at)
        .asking()
        .note("Every lawn section is planned anew, one after the other. With hundreds of them this takes some seconds, and the page stays as it is until it is done. It stores nothing and permits nothing.");
    Ok(form)
}

/// A section's season, as a line of the company's.
struct Line {
    section_id: SectionId,
    place: String,
    rounds: Vec<String>,
    left_out: Vec<String>,
    unmet: Vec<Unmet>,
    /// Why not all of the lime is planned.
    lime: Vec<String>,
}

#[derive(Template)]
#[template(path = "company_plan.html")]
struct CompanyPlanPage {
    dates: DateOrder,
    programme: Programme,
    plan: CompanyPlan,
    lines: Vec<Line>,
    form: Form,
}

/// The stops of a technician's day.
struct DayStops<'p> {
    on: Day,
    person_name: Option<&'p str>,
    area_sqft: Area,
    stops: Vec<&'p PlannedStop>,
}

impl CompanyPlanPage {
    /// The stops, which come in the order of days and technicians.
    fn days(&self) -> Vec<DayStops<'_>> {
        let mut days: Vec<DayStops<'_>> = Vec::new();
        for stop in &self.plan.stops {
            let person_name = stop.person_name.as_deref();
            match days.last_mut().filter(|day| (day.on, day.person_name) == (stop.on, person_name)) {
                Some(day) => {
                    day.area_sqft = Area::from_raw(day.area_sqft.raw().saturating_add(stop.area_sqft.raw()));
                    day.stops.push(stop);
                }
                None => days.push(DayStops { on: stop.on, person_name, area_sqft: stop.area_sqft, stops: vec![stop] }),
            }
        }
        days
    }

    /// A month, as its year and number.
    fn month(&self, first: impl Borrow<Day>) -> String {
        let first = *first.borrow();
        let day = self.dates.day(first);
        match self.dates {
            DateOrder::YearMonthDay => day.get(..7).unwrap_or_default().to_owned(),
            DateOrder::MonthDayYear => format!("{}/{}", day.get(..2).unwrap_or_default(), first.year()),
        }
    }
}

fn lines(plan: &CompanyPlan, products: &HashMap<ProductId, String>, dates: DateOrder) -> Vec<Line> {
    let product = |id: &ProductId| products.get(id).map_or("a product", String::as_str);
    let line = |section: &crate::book::season::SectionPlanSummary| Line {
        section_id: section.section_id,
        place: format!("{}, {}, {}", section.section_name, section.address, section.client_name),
        rounds: section
            .rounds
            .iter()
            .map(|round| {
                format!(
                    "{}, {}: {} lb {}",
                    round.round,
                    dates.day(round.on),
                    round.product_lb,
                    product(&round.product_id)
                )
            })
            .collect(),
        left_out: section.skipped.iter().map(|left| format!("{}: {}", left.round, left.why)).collect(),
        unmet: section.unmet.iter().map(unmet).collect(),
        lime: section
            .lime
            .iter()
            .flat_map(|lime| &lime.why)
            .map(|words| format!("Lime: {}", sentence(words)))
            .collect(),
    };
    plan.sections.iter().map(line).collect()
}

/// The plan of the company, or what it is asked with.
pub async fn of_company(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Programme>,
    sent: FormData,
) -> Result<Response, Problem> {
    let programme = programmes::get(&app, id).await?;
    let form = company_form(&app, &programme).await?;
    if sent.one("work").is_none() {
        return Ok(form.show());
    }
    let form = form.sent(&sent);
    let planned = async {
        let query = form.query::<CompanyPlanQuery>(&app, "get_company_plan")?;
        api::plans::get_company_plan(desk.office(), State(app.clone()), PathId(id), ValidQuery(query)).await
    };
    match planned.await {
        Ok(Json(plan)) => {
            let products = store::products::list(app.store.reader(), ALL_ROWS).await?.into_iter();
            let products = products.map(|row| (row.item.id, row.item.name)).collect();
            let dates = dates(&app).await?;
            let lines = lines(&plan, &products, dates);
            Ok(page(CompanyPlanPage { dates, programme, plan, lines, form }.render()))
        }
        Err(problem) => form.refuse(problem),
    }
}

#[cfg(test)]
mod tests {
    use super::sentence;

    #[test]
    fn a_constraint_is_a_sentence() {
        assert_eq!(sentence("the need of N"), "The need of N.");
        assert_eq!(sentence("At most 1 lb.."), "At most 1 lb.");
    }
}
