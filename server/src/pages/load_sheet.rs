//! The load sheet of a person's day, to be printed and taken along.

use askama::Template;
use axum::{extract::State, response::Response};
use domain::time::Day;

use crate::{
    api::{
        days::{LoadSheetQuery, day_load},
        office_day,
    },
    book::load_sheet::DayLoad,
    pages::{
        form::{Choice, Field, Form, FormData, also},
        office::{ALL_ROWS, dates},
        office_session::OfficeSession,
        page,
    },
    problem::{FieldFault, Problem},
    state::App,
    store::{self, equipment::EquipmentView, settings::DateOrder},
};

/// What is filled in where nobody says anything else (*common practice*).
const SPARE: &str = "10";

async fn form(app: &App) -> Result<Form, Problem> {
    let people = store::people::list(app.store.reader(), ALL_ROWS).await?.into_iter().map(|row| row.item);
    let people = people.filter(|one| one.active).map(|one| Choice::new(one.id.to_string(), one.name));
    let machines = store::equipment::list(app.store.reader(), ALL_ROWS).await?.into_iter().map(|row| row.item);
    let holds = |one: &EquipmentView| match (one.hopper_lb, one.tank_gal) {
        (Some(lb), _) => format!("{}, holds {lb} lb", one.name),
        (_, Some(gal)) => format!("{}, holds {gal} gal", one.name),
        _ => format!("{}, capacity not entered", one.name),
    };
    let machines = machines.filter(|one| one.active).map(|one| Choice::new(one.id.to_string(), holds(&one)));
    let fields = vec![
        Field::day("day", "Day"),
        Field::one("person_id", "Whose truck", people.collect()),
        Field::amount("spare_percent", "Extra to load, %")
            .optional()
            .help("10 is common practice. Bring back what is not used."),
        Field::one("equipment_id", "Spreader or sprayer on the truck", machines.collect())
            .optional()
            .under("To count fills")
            .help("Empty takes, for each product, the machine that this person calibrated last with it."),
        Field::amount("hopper_lb", "Or hopper capacity, lb").optional().help("Used instead of the capacity on record."),
        Field::amount("tank_gal", "Or tank capacity, gal").optional(),
        Field::amount("spray_gal_per_1000_sqft", "Or what the sprayer puts down, gal per 1,000 sq ft").optional(),
    ];
    Ok(Form::new("A load sheet", "/office/load-sheet", "Show the load sheet", fields).asking())
}

#[derive(Template)]
#[template(path = "load_sheet.html")]
struct LoadSheet {
    dates: DateOrder,
    sheet: DayLoad,
    csv: String,
    form: Form,
}

impl LoadSheet {
    /// Whether anything is sprayed, as far as the sheet knows the tank.
    fn sprays(&self) -> bool {
        self.sheet.products.iter().any(|load| load.spray_gal.is_some())
    }

    fn fills_open(&self) -> bool {
        self.sheet.products.iter().any(|load| load.fills.is_none())
    }
}

/// The sheet, or what it is asked with.
pub async fn sheet(desk: OfficeSession, State(app): State<App>, sent: FormData) -> Result<Response, Problem> {
    let mut form = form(&app).await?;
    if !sent.is_empty() {
        form = form.sent(&sent);
    }
    // A link from a person asks for today.
    if sent.one("day").is_none() {
        let today = office_day(&app).await?.to_string();
        for (name, value) in [("day", today), ("spare_percent", SPARE.to_owned())] {
            form.field(name).into_iter().for_each(|field| field.value = vec![value.clone()]);
        }
    }
    if sent.one("person_id").is_none() {
        return Ok(form.note(NOTE).show());
    }
    match load(&app, desk, &form).await {
        Ok((sheet, csv)) => {
            let dates = dates(&app).await?;
            "Another day, person or truck".clone_into(&mut form.title);
            Ok(page(LoadSheet { dates, sheet, csv, form }.render()))
        }
        Err(problem) => form.note(NOTE).refuse(problem),
    }
}

const NOTE: &str =
    "From the visits that are still to be made that day: product, bags, water and fills, for each stop and in all.";

async fn load(app: &App, desk: OfficeSession, form: &Form) -> Result<(DayLoad, String), Problem> {
    let said = |name: &str| form.fields.iter().find(|field| field.name == name).map(Field::text).unwrap_or_default();
    let mut faults = Vec::new();
    let on = Day::parse(said("day"));
    faults.extend(on.err().map(|bad| FieldFault::parameter("day", "wrong_format", bad.to_string())));
    if said("person_id").is_empty() {
        faults.push(FieldFault::parameter("person_id", "missing", "is required"));
    }
    let query = form.query::<LoadSheetQuery>(app, "get_load_sheet");
    let query = also(query.and_then(|query| query.truck().map(|_| query)), faults)?;
    let sheet = day_load(app, desk.0, said("day"), &query).await?;
    let mut csv = format!("/api/v1/days/{}/load-sheet?format=csv&person_id={}", sheet.day, sheet.person_id);
    let carried = [
        ("spare_percent", Some(sheet.spare_percent.to_string())),
        ("equipment_id", query.equipment_id.map(|id| id.to_string())),
        ("hopper_lb", query.hopper_lb.map(|holds| holds.to_string())),
        ("tank_gal", query.tank_gal.map(|holds| holds.to_string())),
        ("spray_gal_per_1000_sqft", query.spray_gal_per_1000_sqft.map(|rate| rate.to_string())),
    ];
    for (name, value) in carried {
        csv.extend(value.map(|value| format!("&{name}={value}")));
    }
    Ok((sheet, csv))
}
