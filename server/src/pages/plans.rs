//! Season's plans read out: of a section, of the company with what to buy, and the visits of a round made from it.

mod calendar;
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
        open_days::ClosedDays,
    },
    quantity::Area,
    time::Day,
};

use self::calendar::{CalendarLine, Drawn};
pub use crate::pages::plans::visits::{add, new};
use crate::{
    api::{
        self,
        plans::{CompanyPlanQuery, SectionPlanQuery},
    },
    book::season::{self, CompanyPlan, PlannedStop, SectionPlan, SectionPlanSummary},
    extract::{PathId, ValidQuery},
    pages::{
        form::{Choice, Field, Form, FormData, choices},
        office::{ALL_ROWS, dates},
        office_session::OfficeSession,
        page,
        pictures::calendar::Calendar,
        programmes, sections,
    },
    problem::Problem,
    scope::Scope,
    state::App,
    store::{
        self,
        programmes::{
            Programme,
            lawns::{Lawns, VisitLine, lawns},
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
    calendar: Calendar,
    lines: Vec<CalendarLine>,
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
        Ok(Json(plan)) => {
            let (programme, dates) = (programmes::get(&app, plan.programme_id).await?, dates(&app).await?);
            let visits = visits_of(&app, &programme).await?;
            let drawn = Drawn { programme: &programme, visits: &visits, dates, from: plan.from };
            let (calendar, lines) = drawn.of_section(&plan);
            Ok(page(SectionPlanPage { dates, plan, calendar, lines, form }.render()))
        }
        Err(problem) => form.refuse(problem),
    }
}

/// The visits of the season's year, a section a line.
async fn visits_of(app: &App, programme: &Programme) -> Result<Vec<VisitLine>, Problem> {
    let (first, _) = season::calendar_span(programme);
    Ok(store::programmes::lawns::visit_lines(app.store.reader(), first).await?)
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
    closed: Vec<String>,
    unmet: Vec<Unmet>,
    /// Why not all of the lime is planned.
    lime: Vec<String>,
}

impl Line {
    fn folds(&self) -> bool {
        !(self.left_out.is_empty() && self.closed.is_empty() && self.unmet.is_empty())
    }

    /// What is folded, in short.
    fn folded(&self) -> String {
        let many = |count: usize| if count == 1 { "" } else { "s" };
        let rounds = self.left_out.len();
        let parts = [
            (rounds > 0).then(|| format!("● {rounds} round{} left out", many(rounds))),
            (!self.closed.is_empty()).then(|| "■ days on which nothing may go down".to_owned()),
            (!self.unmet.is_empty()).then(|| "▲ what conflicts".to_owned()),
        ];
        parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
    }
}

#[derive(Template)]
#[template(path = "company_plan.html")]
struct CompanyPlanPage {
    dates: DateOrder,
    programme: Programme,
    plan: CompanyPlan,
    calendar: Calendar,
    from: Day,
    lines: Vec<Line>,
    /// Which of the sections are shown one by one, counted from one, and where the others are.
    shown: (usize, usize),
    earlier: Option<String>,
    later: Option<String>,
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

fn lines(
    sections: &[SectionPlanSummary],
    closed: &[Vec<ClosedDays>],
    products: &HashMap<ProductId, String>,
    drawn: &Drawn<'_>,
) -> Vec<Line> {
    let product = |id: &ProductId| products.get(id).map_or("a product", String::as_str);
    let line = |(section, closed): (&SectionPlanSummary, &Vec<ClosedDays>)| Line {
        section_id: section.section_id,
        place: format!("{}, {}, {}", section.section_name, section.address, section.client_name),
        rounds: section
            .rounds
            .iter()
            .map(|round| {
                format!(
                    "{}, {}: {} lb {}",
                    round.round,
                    drawn.dates.day(round.on),
                    round.product_lb,
                    product(&round.product_id)
                )
            })
            .collect(),
        left_out: section.skipped.iter().map(|left| format!("{}: {}", left.round, left.why)).collect(),
        closed: drawn.closed_words(closed),
        unmet: section.unmet.iter().map(unmet).collect(),
        lime: section
            .lime
            .iter()
            .flat_map(|lime| &lime.why)
            .map(|words| format!("Lime: {}", sentence(words)))
            .collect(),
    };
    sections.iter().zip(closed).map(line).collect()
}

/// Sections that one page shows one by one.
const SHOWN: usize = 30;

async fn company(
    app: &App,
    programme: Programme,
    (plan, closed): (CompanyPlan, Vec<Vec<ClosedDays>>),
    part: usize,
    form: Form,
) -> Result<Response, Problem> {
    let first = part * SHOWN;
    let sections = plan.sections.get(first..plan.sections.len().min(first + SHOWN));
    let sections = sections.ok_or_else(|| Problem::not_found("part of the plan"))?;
    let products = store::products::list(app.store.reader(), ALL_ROWS).await?.into_iter();
    let products = products.map(|row| (row.item.id, row.item.name)).collect();
    let (dates, visits) = (dates(app).await?, visits_of(app, &programme).await?);
    let from = match plan.from {
        Some(from) => from,
        None => api::office_day(app).await?,
    };
    let drawn = Drawn { programme: &programme, visits: &visits, dates, from };
    let (calendar, lines) = (drawn.of_company(sections, &closed), lines(sections, &closed, &products, &drawn));
    let other = |part: usize| format!("{}&part={part}#sections", form.asked_again());
    let last = first + sections.len();
    let (earlier, later) = (part.checked_sub(1).map(other), (last < plan.sections.len()).then(|| other(part + 1)));
    Ok(page(
        CompanyPlanPage {
            dates,
            programme,
            plan,
            calendar,
            from,
            lines,
            shown: (first + 1, last),
            earlier,
            later,
            form,
        }
        .render(),
    ))
}

/// The plan of the company, or what it is asked with.
pub async fn of_company(
    _: OfficeSession,
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
    // Nobody has so many sections that a larger number is meant.
    let part = sent.one("part").and_then(|text| text.parse().ok()).unwrap_or(0_usize).min(1_000);
    let planned = async {
        let query = form.query::<CompanyPlanQuery>(&app, "get_company_plan")?;
        api::plans::company_plan(&app, id, query, part * SHOWN..part.saturating_add(1) * SHOWN).await
    };
    match planned.await {
        Ok((plan, closed)) => company(&app, programme, (plan, closed), part, form).await,
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
