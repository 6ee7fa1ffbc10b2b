//! A person's day.

use std::collections::BTreeMap;

use axum::{
    Json,
    extract::{Path, State},
    http::HeaderMap,
    response::{IntoResponse, Response},
};
use domain::{
    actor::{Actor, Role},
    ids::{EquipmentId, PersonId},
    programme::load::Tank,
    quantity::{Percent, ProductMass, SprayRate, Volume},
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    access::AnyStaff,
    api::whole,
    book::{
        self,
        credentials::{self, Errand},
        load_sheet::{self, DayLoad, Truck},
        weather::{self, VisitWeather},
    },
    extract::ValidQuery,
    problem::{FieldFault, Problem},
    report::{
        self,
        form::{self, Format},
    },
    routes::{Routes, routes},
    scope::Scope,
    state::App,
    store::{
        self,
        days::{Colleague, DayVisit},
        people::Person,
    },
};

pub fn routes() -> Routes {
    routes!(get_day, get_load_sheet)
}

/// A person's day, whole, to be kept on a phone that may have no network.
#[derive(Debug, Serialize, ToSchema)]
struct DayPlan {
    day: Day,
    person_id: PersonId,
    #[schema(max_length = 120)]
    person_name: String,
    /// Visits that are planned or done, in the order in which they were written.
    #[schema(max_items = 1000)]
    visits: Vec<DayVisit>,
    /// For each planned visit, the hours that suit and what services had said, as the book had it: nobody is asked for it, so
    /// that the answer never waits. Empty when no weather service is configured.
    #[schema(max_items = 1000)]
    weather: Vec<VisitWeather>,
    /// Who else of the staff may have been there when the work is done.
    #[schema(max_items = 1000)]
    colleagues: Vec<Colleague>,
    /// When the server put this together. Show it: what happened since is not in it.
    downloaded_at: Instant,
}

#[derive(Debug, Clone, Serialize, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct DayQuery {
    /// Whose day, if not the caller's. The office and the owner may read anybody's.
    #[serde(default)]
    person_id: Option<PersonId>,
}

/// Get a person's day
///
/// Everything that a phone needs for the caller's day without network, in one answer: visits that are planned or done, with
/// property, client and sections as they stood on the day, the product as it is now, the rate to set a spreader by, in one pass or
/// in two, the calibrations in force for this person and product with their age, what is known of the weather, what is open about
/// each, such as a soil report that ends or a certificate that has run out by then, how its sections are divided, what the law wants
/// on its record that only somebody on the spot can see, and who may supervise where somebody has to. A technician is not told who a
/// former client was.
#[utoipa::path(get, path = "/api/v1/days/{day}", operation_id = "get_day", tag = "visits", security(("bearer" = ["any staff"])),
    params(("day" = Day, Path, description = "The local day."), DayQuery),
    responses((status = 200, description = "The day.", body = DayPlan)))]
async fn get_day(
    AnyStaff(actor): AnyStaff,
    State(app): State<App>,
    Path(day): Path<String>,
    ValidQuery(query): ValidQuery<DayQuery>,
) -> Result<Json<DayPlan>, Problem> {
    let (day, person) = whose(&app, actor, &day, query.person_id).await?;
    let downloaded_at = app.clock.now();
    let mut visits = store::days::visits(app.store.reader(), person.id, day, Scope::of(actor)).await?;
    let errands = visits.iter().map(|stop| Errand::of(&stop.visit));
    let planned: Vec<Errand> = errands.clone().flatten().collect();
    let mut connection = app.store.reader().acquire().await?;
    let found = credentials::of_errands(&mut connection, &app.law(), &planned, downloaded_at).await?;
    drop(connection);
    let mut found = found.into_iter();
    let certificates: Vec<_> = errands.map(|errand| errand.and_then(|_| found.next()).unwrap_or_default()).collect();
    book::days::open(&app.law(), day, &mut visits, &certificates);
    let staff = store::days::staff(app.store.reader()).await?;
    book::days::ask(&app.law(), day, person.id, &staff, &mut visits);
    let weather = weather::of_visits(&app, day, &visits).await;
    let colleagues = book::days::colleagues(person.id, &staff);
    Ok(Json(DayPlan {
        day,
        person_id: person.id,
        person_name: person.name,
        visits,
        weather,
        colleagues,
        downloaded_at,
    }))
}

/// The day and the person that are asked about. A technician asks about nobody else.
async fn whose(app: &App, actor: Actor, day: &str, person: Option<PersonId>) -> Result<(Day, Person), Problem> {
    let day = Day::parse(day)
        .map_err(|bad| Problem::invalid(vec![FieldFault::parameter("day", "wrong_format", bad.to_string())]))?;
    let person = person.unwrap_or(actor.person);
    if actor.role == Role::Technician && person != actor.person {
        return Err(Problem::not_found("person"));
    }
    let person = store::people::get(app.store.reader(), person).await?.ok_or_else(|| Problem::not_found("person"))?;
    Ok((day, person))
}

/// Whose day, and what the truck carries.
#[derive(Debug, Clone, Serialize, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct LoadSheetQuery {
    /// Whose day, if not the caller's. The office and the owner may read anybody's.
    #[serde(default)]
    pub person_id: Option<PersonId>,
    /// Loaded beyond the need, 10 unless said otherwise (*common practice*).
    #[serde(default)]
    pub spare_percent: Option<Percent>,
    /// The spreader or sprayer that goes along: fills are counted with its hopper, or with its tank and what its calibration
    /// found. Left out, for each product the machine that the person calibrated last with it.
    #[serde(default)]
    pub equipment_id: Option<EquipmentId>,
    /// What the hopper of the spreader holds, where it is not that of the machine.
    #[serde(default)]
    pub hopper_lb: Option<ProductMass>,
    /// What the tank of the sprayer holds, where it is not that of the machine. Given with its rate, or not at all.
    #[serde(default)]
    pub tank_gal: Option<Volume>,
    /// What the sprayer was calibrated to put down.
    #[serde(default)]
    pub spray_gal_per_1000_sqft: Option<SprayRate>,
    /// `json` or `csv`; wins over the `Accept` header, so that a link works in a browser.
    #[serde(default)]
    #[param(inline)]
    format: Option<Format>,
}

impl LoadSheetQuery {
    /// What the truck carries, or what contradicts itself in it.
    pub fn truck(&self) -> Result<Truck, Problem> {
        let mut faults = Vec::new();
        let above_zero = [
            ("hopper_lb", self.hopper_lb.map(ProductMass::raw)),
            ("tank_gal", self.tank_gal.map(Volume::raw)),
            ("spray_gal_per_1000_sqft", self.spray_gal_per_1000_sqft.map(SprayRate::raw)),
        ];
        for (name, _) in above_zero.iter().filter(|(_, raw)| *raw == Some(0)) {
            faults.push(FieldFault::parameter(*name, "out_of_range", "must be above zero"));
        }
        let missing = match (self.tank_gal, self.spray_gal_per_1000_sqft) {
            (Some(_), None) => Some("spray_gal_per_1000_sqft"),
            (None, Some(_)) => Some("tank_gal"),
            _ => None,
        };
        let detail = "is required with the other: water and fills follow from both";
        faults.extend(missing.map(|name| FieldFault::parameter(name, "missing", detail)));
        whole(faults)?;
        let tank = self.tank_gal.zip(self.spray_gal_per_1000_sqft);
        Ok(Truck {
            spare: self.spare_percent.unwrap_or(SPARE),
            hopper_lb: self.hopper_lb,
            tank: tank.map(|(holds_gal, rate_gal_per_1000_sqft)| Tank { holds_gal, rate_gal_per_1000_sqft }),
            machines: BTreeMap::new(),
        })
    }
}

/// A tenth, as the trade loads (*common practice*).
const SPARE: Percent = Percent::from_raw(1_000);

/// Get a day's load sheet
///
/// What goes onto the truck for a day: product, whole bags and water, for each stop and in all, and how often hopper or tank
/// is filled. From the visits that are still to be made. As JSON or CSV.
#[utoipa::path(get, path = "/api/v1/days/{day}/load-sheet", operation_id = "get_load_sheet", tag = "visits",
    security(("bearer" = ["any staff"])), params(("day" = Day, Path, description = "The local day."), LoadSheetQuery),
    responses((status = 200, description = "The load sheet.", content((DayLoad = "application/json"), (String = "text/csv")))))]
async fn get_load_sheet(
    AnyStaff(actor): AnyStaff,
    State(app): State<App>,
    headers: HeaderMap,
    Path(day): Path<String>,
    ValidQuery(query): ValidQuery<LoadSheetQuery>,
) -> Result<Response, Problem> {
    let form = form::of(query.format, &headers, "A load sheet")?;
    let sheet = day_load(&app, actor, &day, &query).await?;
    match form {
        Format::Json => Ok((form::vary(), Json(sheet)).into_response()),
        Format::Csv => {
            let body = report::csv::load_sheet(&sheet).map_err(|error| Problem::fault(&error))?;
            Ok(form::csv(body, &format!("load-sheet-{}.csv", sheet.day)))
        }
    }
}

/// What goes onto the truck, for whoever may read that day.
pub async fn day_load(app: &App, actor: Actor, day: &str, query: &LoadSheetQuery) -> Result<DayLoad, Problem> {
    let (day, person) = whose(app, actor, day, query.person_id).await?;
    let mut truck = query.truck()?;
    let visits = store::days::visits(app.store.reader(), person.id, day, Scope::of(actor)).await?;
    let named = match query.equipment_id {
        None => None,
        Some(id) => {
            let missing = || FieldFault::parameter("equipment_id", "not_found", "is no equipment of this company");
            Some(
                store::equipment::get(app.store.reader(), id)
                    .await?
                    .ok_or_else(|| Problem::invalid(vec![missing()]))?,
            )
        }
    };
    truck.machines = load_sheet::machines(app, named.as_ref(), &load_sheet::products(&visits), person.id, day).await?;
    let sheet = load_sheet::sheet(day, (person.id, person.name), &visits, &truck, app.clock.now());
    sheet.map_err(|fault| {
        let detail = format!("leads to a load that cannot be counted: {fault}");
        Problem::invalid(vec![FieldFault::parameter("spare_percent", "out_of_range", detail)])
    })
}
