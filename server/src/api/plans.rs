//! Season's plans: of a section, of the company, and the visits of a round. Worked out anew each time, away from the threads
//! that answer requests.

use std::{
    ops::Range,
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
};

use axum::{Json, extract::State};
use domain::{
    actor::Role,
    ids::{self, ClientId, ProgrammeId, SectionId, VisitId},
    programme::{PlanGoal, open_days::ClosedDays, stops::DayCapacity},
    quantity::Percent,
    time::Day,
};
use serde::{Deserialize, Serialize};
use tokio::sync::Semaphore;
use utoipa::IntoParams;

use crate::{
    access::OfficeOrOwner,
    api::{fingerprint_at, office_day, visits, whole},
    book::{
        credentials,
        office::{self, IdempotentRequest},
        season::{
            self, CompanyPlan, PlannedVisits, Purchasing, RoundVisits, Season, SeasonTechnician, SectionPlan,
            SectionPlanSummary,
        },
    },
    extract::{IdempotencyKey, PathId, Valid, ValidQuery},
    problem::{FieldFault, Kind, Problem},
    reply::Created,
    routes::{Routes, routes},
    scope::Scope,
    state::App,
    store::{
        self,
        journal::JournalContext,
        programmes::{Programme, lawns::Lawns},
    },
};

pub fn routes() -> Routes {
    routes!(get_section_plan, get_company_plan, create_round_visits)
}

/// Sections in one plan. More are asked for client by client.
const SECTIONS: i64 = 1_000;
/// Plans at once: each takes what cores there are, and whoever records an application must not wait for them.
static PLANNERS: Semaphore = Semaphore::const_new(2);

#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct SectionPlanQuery {
    /// The programme to plan by.
    programme_id: ProgrammeId,
    /// What the plan makes least of, after meeting the need; least cost unless said otherwise.
    #[serde(default)]
    #[param(inline)]
    aim: Option<PlanGoal>,
    /// The first day to plan for, today unless said otherwise. Not a day that has been.
    #[serde(default)]
    from: Option<Day>,
}

#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct CompanyPlanQuery {
    /// Only this client's sections.
    #[serde(default)]
    client_id: Option<ClientId>,
    /// What each plan makes least of, after meeting the need; least cost unless said otherwise.
    #[serde(default)]
    #[param(inline)]
    aim: Option<PlanGoal>,
    /// The first day to plan for, today unless said otherwise. Not a day that has been.
    #[serde(default)]
    from: Option<Day>,
    /// Days from order to delivery, 14 unless said otherwise.
    #[serde(default)]
    #[param(minimum = 0, maximum = 365)]
    lead_days: Option<i64>,
    /// Bought beyond the need, 5 unless said otherwise (*common practice*).
    #[serde(default)]
    spare_percent: Option<Percent>,
}

/// The day from which to plan is not one that has been everywhere.
async fn from_faults(app: &App, from: Option<Day>) -> Result<Vec<FieldFault>, Problem> {
    let first = office_day(app).await?.plus_days(-1);
    let last = first.minus_months(-36);
    let outside = from.filter(|from| !(first..=last).contains(from));
    let detail = format!("must lie between {first} and {last}: what was, is in the records");
    Ok(outside.map(|_| FieldFault::parameter("from", "out_of_range", detail)).into_iter().collect())
}

/// Reads everything that plans of these sections are made from.
async fn read(
    app: &App,
    programme: Programme,
    lawns: Lawns,
    (from, aim): (Option<Day>, Option<PlanGoal>),
) -> Result<Season, Problem> {
    let now = app.clock.now();
    let pool = app.store.reader();
    let lawns = store::programmes::lawns::lawns(pool, lawns, SECTIONS + 1).await?;
    let limit = usize::try_from(SECTIONS).unwrap_or(usize::MAX);
    if lawns.len() > limit {
        let detail =
            format!("is required: there are more than {SECTIONS} sections; ask for one client after the other");
        return Err(Problem::invalid(vec![FieldFault::parameter("client_id", "missing", detail)]));
    }
    // Visits of this season and the one before it: what is older has its record or will have none.
    let today = office_day(app).await?;
    let since = today.minus_months(12).first_of_year();
    let visits = store::programmes::lawns::visit_lines(pool, since).await?;
    let sections: Vec<_> = lawns.iter().map(|lawn| lawn.section_id).collect();
    let sampled = lawns.iter().filter_map(|lawn| lawn.report.as_ref()).map(|report| report.sampled_on).min();
    let lime_lines = match sampled {
        // Lime from before the sample is in what the laboratory found, and a sample that is too old asks for none.
        Some(oldest) => {
            let first = oldest.max(today.plus_months(-season::LIME_REPORT_MONTHS));
            store::programmes::lawns::lime_lines(pool, &sections, first).await?
        }
        None => Vec::new(),
    };
    let properties: Vec<_> = lawns.iter().map(|lawn| lawn.property_id).collect();
    let products = programme.products.iter().map(|product| product.product_id);
    let products: Vec<_> = products.chain(visits.iter().map(|line| line.product_id)).collect();
    let staff = store::people::list(pool, crate::paging::PageRequest { after: 0, take: 100_000 }).await?;
    let staff: Vec<_> = staff.into_iter().map(|row| row.item).filter(|person| person.active).collect();
    let in_field = staff.iter().filter(|person| person.role == Role::Technician).map(|person| person.id).collect();
    let staff: Vec<_> = staff.into_iter().map(|person| person.id).collect();
    let mut connection = pool.acquire().await?;
    let world =
        store::world::load_lawns(&mut connection, &sections, &properties, &products, &staff, now.millis()).await?;
    drop(connection);
    let mut technicians = Vec::new();
    for named in &programme.technicians {
        let Some(person) = store::people::get(pool, named.person_id).await?.filter(|person| person.active) else {
            continue;
        };
        let capacity = DayCapacity { stops: named.stops_per_day, area: named.area_sqft_per_day };
        technicians.push(SeasonTechnician { person_id: person.id, name: person.name, capacity });
    }
    let named: Vec<_> = technicians.iter().map(|one| one.person_id).collect();
    let sent = [named, in_field, staff].into_iter().find(|people| !people.is_empty()).unwrap_or_default();
    let law = app.law();
    let aim = aim.unwrap_or(PlanGoal::LeastCost);
    Ok(Season {
        programme,
        lawns,
        visits,
        lime_lines,
        world,
        law,
        from,
        now,
        today,
        aim,
        technicians,
        sent,
        only: None,
    })
}

/// Raised when the caller has hung up, so that nobody plans for the wind.
struct CancelOnDrop(Arc<AtomicBool>);

impl Drop for CancelOnDrop {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// Works something out beside the threads that answer.
async fn run_blocking<T: Send + 'static>(work: impl FnOnce(&AtomicBool) -> T + Send + 'static) -> Result<T, Problem> {
    let busy = || Problem::new(Kind::Busy, "The server is stopping.").retry_after(5);
    let permit = PLANNERS.acquire().await.map_err(|_| busy())?;
    let gone = CancelOnDrop(Arc::new(AtomicBool::new(false)));
    let seen = Arc::clone(&gone.0);
    let worked = tokio::task::spawn_blocking(move || {
        let _permit = permit;
        work(&seen)
    });
    worked.await.map_err(|error| Problem::fault(&error))
}

async fn programme(app: &App, id: ProgrammeId) -> Result<Programme, Problem> {
    store::programmes::get(app.store.reader(), id).await?.ok_or_else(|| Problem::not_found("program"))
}

/// Get a section's season plan
///
/// From its need, the law of each day, its true history, the visits that stand, the programme's rounds and products and the
/// stock: what goes down in each round and how much, on the first day that nothing known forbids, or on which last year stops
/// counting; what is left out and why, what cannot be met and which constraints collide. Nitrogen of a published schedule follows
/// its steps, those that are not optional first, and each step says what stands against it. Every planned round stands before
/// the same decision as an application. Changes nothing and permits nothing.
#[utoipa::path(get, path = "/api/v1/sections/{id}/plan", operation_id = "get_section_plan", tag = "programmes",
    security(("bearer" = ["office", "owner"])), params(("id" = SectionId, Path, description = "The section."), SectionPlanQuery),
    responses((status = 200, description = "The plan.", body = SectionPlan)))]
pub async fn get_section_plan(
    _: OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
    ValidQuery(query): ValidQuery<SectionPlanQuery>,
) -> Result<Json<SectionPlan>, Problem> {
    whole(from_faults(&app, query.from).await?)?;
    let programme = programme(&app, query.programme_id).await?;
    let season = read(&app, programme, Lawns::These(vec![id]), (query.from, query.aim)).await?;
    let planned = run_blocking(move |_| {
        let (offered, gaps) = season.offered();
        let lawn = season.lawns.first()?;
        Some(season.plan(lawn, &offered).and_then(|mut planned| {
            planned.section.gaps.extend(gaps);
            planned.section.closed = season.closed_days(lawn, &offered)?;
            Ok(planned.section)
        }))
    });
    match planned.await?.ok_or_else(|| Problem::not_found("lawn section"))? {
        Ok(plan) => Ok(Json(plan)),
        Err(not) => Err(Problem::invalid(vec![FieldFault::parameter("id", not.code, not.why)])),
    }
}

/// Get the company's season plan
///
/// Every section's plan in short, of the whole company or of one client, and what to buy for all of them: by product and
/// month, in whole bags, with the last day to order; and what stays in the shed, because the limits keep it there or nobody
/// needs it. Product that may not be bought is given out section by section.
#[utoipa::path(get, path = "/api/v1/programmes/{id}/plan", operation_id = "get_company_plan", tag = "programmes",
    security(("bearer" = ["office", "owner"])), params(("id" = ProgrammeId, Path, description = "The programme."), CompanyPlanQuery),
    responses((status = 200, description = "The plan.", body = CompanyPlan)))]
pub async fn get_company_plan(
    _: OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Programme>,
    ValidQuery(query): ValidQuery<CompanyPlanQuery>,
) -> Result<Json<CompanyPlan>, Problem> {
    Ok(Json(company_plan(&app, id, query, 0..0).await?.0))
}

/// The plan, and the closed days of those of its sections that somebody looks at: of all of them they would take as long as the plan.
pub async fn company_plan(
    app: &App,
    id: ProgrammeId,
    query: CompanyPlanQuery,
    shown: Range<usize>,
) -> Result<(CompanyPlan, Vec<Vec<ClosedDays>>), Problem> {
    whole(from_faults(app, query.from).await?)?;
    let programme = programme(app, id).await?;
    if let Some(client) = query.client_id
        && store::clients::get(app.store.reader(), client, Scope::Company).await?.is_none()
    {
        let fault = FieldFault::parameter("client_id", "not_found", "names no client of this company");
        return Err(Problem::invalid(vec![fault]));
    }
    let season =
        read(app, programme, query.client_id.map_or(Lawns::All, Lawns::Client), (query.from, query.aim)).await?;
    let purchasing = Purchasing {
        lead_days: query.lead_days.and_then(|days| i32::try_from(days).ok()).unwrap_or(14),
        spare_percent: query.spare_percent.unwrap_or(Percent::from_raw(500)),
    };
    let plan = run_blocking(move |gone| {
        let plan = season::company_plan(&season, purchasing, gone)?;
        let (offered, _) = season.offered();
        let lawn = |id: SectionId| season.lawns.iter().find(|lawn| lawn.section_id == id);
        let closed = |section: &SectionPlanSummary| {
            lawn(section.section_id).and_then(|lawn| season.closed_days(lawn, &offered).ok()).unwrap_or_default()
        };
        let looked_at = plan.sections.iter().skip(shown.start).take(shown.len());
        let closed = looked_at.map(closed).collect();
        Some((plan, closed))
    });
    plan.await?.ok_or_else(broken_off)
}

fn broken_off() -> Problem {
    Problem::new(Kind::Busy, "The plan was broken off.").retry_after(1)
}

/// What contradicts itself in the visits of a round.
fn round_faults(programme: &Programme, asked: &RoundVisits) -> Vec<FieldFault> {
    let mut faults = Vec::new();
    match programme.rounds.iter().find(|round| round.name == asked.round) {
        None => faults.push(FieldFault::at("/round", "unknown_value", "is no round of this program")),
        Some(round) if asked.planned_on.is_some_and(|on| !(round.from..=round.to).contains(&on)) => {
            let detail = format!("must lie within the round, between {} and {}", round.from, round.to);
            faults.push(FieldFault::at("/planned_on", "out_of_range", detail));
        }
        Some(_) => {}
    }
    match (asked.planned_on, asked.person_id) {
        (Some(_), None) => {
            faults.push(FieldFault::at(
                "/person_id",
                "missing",
                "is required with planned_on: say who goes on that day",
            ));
        }
        (None, Some(_)) => {
            let detail = "is required with person_id; without both, the program's technicians share the visits out";
            faults.push(FieldFault::at("/planned_on", "missing", detail));
        }
        (None, None) if programme.technicians.is_empty() => {
            let detail = "is required: the program names no technicians over whose days the visits could be spread";
            faults.push(FieldFault::at("/planned_on", "missing", detail));
        }
        _ => {}
    }
    let place = |at| format!("/section_ids/{at}");
    faults.extend(FieldFault::repeats(&asked.section_ids, place, "stands in the list already"));
    faults
}

/// Create the visits of a round
///
/// For the chosen sections on one day within the round, as the season's plan says: a visit for each property and
/// product, all in one transaction, each with its own journal entry. A section on which the round is planned or done already,
/// for which the plan has nothing that day, or for which the one who goes has no room left that day by the program, is left out
/// and named; a round is never planned twice on a section.
#[utoipa::path(post, path = "/api/v1/programmes/{id}/visits", operation_id = "create_round_visits", tag = "programmes",
    security(("bearer" = ["office", "owner"])), params(("id" = ProgrammeId, Path, description = "The programme."), IdempotencyKey),
    request_body = RoundVisits,
    responses((status = 201, description = "Planned.", body = PlannedVisits, headers(("Location" = String, description = "The list they are in.")))))]
pub async fn create_round_visits(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Programme>,
    key: IdempotencyKey,
    Valid { value, fingerprint }: Valid<RoundVisits>,
) -> Result<Created, Problem> {
    let programme = programme(&app, id).await?;
    whole(round_faults(&programme, &value))?;
    let mut season = read(&app, programme, Lawns::These(value.section_ids.clone()), (None, value.aim)).await?;
    if let Some(on) = value.planned_on {
        season.only = Some((value.round.clone(), on));
        // Who goes was said. What the program lets them do on a day holds on this one too, whoever names it.
        season.technicians.retain(|technician| Some(technician.person_id) == value.person_id);
        // Somebody who is not on record is refused with the visits.
        if let Some(person) = value.person_id.filter(|person| season.world.people.contains_key(person)) {
            season.sent = vec![person];
        }
    }
    let asked = value.clone();
    let drafted = run_blocking(move |gone| season::drafts(&season, &asked, gone)).await?;
    let (drafts, mut left_out) = drafted.ok_or_else(broken_off)?;
    let at = app.clock.now();
    let fresh: Vec<VisitId> = drafts.iter().map(|_| app.ids.next(at)).collect();
    let deed = JournalContext { actor: Some(actor), at, act: "visit.planned", subject: id.uuid() };
    let repeat = IdempotentRequest { key, route: "create_round_visits", fingerprint: fingerprint_at(id, &fingerprint) };
    let location = match value.planned_on.zip(value.person_id) {
        Some((on, person)) => format!("/api/v1/visits?planned_on={on}&person_id={person}"),
        None => "/api/v1/visits".to_owned(),
    };
    let law = app.law();
    office::create_each(&app, deed, repeat, location, move |connection| {
        Box::pin(async move {
            // Asked again here: another request may have planned it since.
            let taken = store::visits::of_round(&mut *connection, id, &value.round, None).await?;
            let mut made = Vec::new();
            for (visit, mut draft) in fresh.into_iter().zip(drafts) {
                let (again, open) = draft.section_ids.iter().copied().partition(|section| taken.contains(section));
                draft.section_ids = open;
                left_out.extend(season::planned_meanwhile(again));
                if draft.section_ids.is_empty() {
                    continue;
                }
                visits::check(&mut *connection, &draft).await?;
                let of = Some((id, value.round.as_str()));
                made.push(store::visits::insert(&mut *connection, visit, &draft, of, at).await?);
            }
            if made.is_empty() {
                let pointer = |section: &SectionId| value.section_ids.iter().position(|asked| asked == section);
                let fault = |left: &season::SectionWithoutVisit| {
                    let at = pointer(&left.section_id).unwrap_or_default();
                    FieldFault::at(format!("/section_ids/{at}"), "not_planned", left.why.clone())
                };
                return Err(Problem::invalid(left_out.iter().map(fault).collect()));
            }
            let visits = credentials::told_of_each(connection, &law, made, at).await?;
            let entries = visits.iter().map(|visit| Ok((visit.id.uuid(), serde_json::to_string(visit)?)));
            let entries = entries.collect::<Result<Vec<_>, serde_json::Error>>()?;
            Ok((PlannedVisits { programme_id: id, round: value.round, visits, left_out }, entries))
        })
    })
    .await
}
