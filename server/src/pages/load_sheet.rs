//! The load sheet of a person's day, to be printed and taken along.

use askama::Template;
use axum::{extract::State, response::Response};
use domain::{
    ids::{EquipmentId, PersonId},
    product::ProductForm,
    quantity::SprayRate,
    time::Day,
};

use super::{
    desk::Desk,
    equipment,
    form::{Choice, Field, Form, Sent, also},
    office::{ROWS, dates, day},
    page,
};
use crate::{
    api::days::{LoadSheetQuery, day_load},
    app::App,
    book::load_sheet::DayLoad,
    problem::{FieldFault, Problem},
    store::{self, equipment::EquipmentView, settings::DateOrder},
};

/// What the sheet is asked with; the rest of the form is the page's own.
const ASKED: [&str; 5] = ["person_id", "spare_percent", "hopper_lb", "tank_gal", "spray_gal_per_1000_sqft"];

/// What is filled in where nobody says anything else (*common practice*).
const SPARE: &str = "10";

struct Machines(Vec<EquipmentView>);

impl Machines {
    async fn read(app: &App) -> Result<Self, Problem> {
        let rows = store::equipment::list(app.store.reader(), ROWS).await?;
        Ok(Self(rows.into_iter().map(|row| row.item).filter(|one| one.active).collect()))
    }

    fn choices(&self, form: ProductForm) -> Vec<Choice> {
        let of = self.0.iter().filter(|one| one.kind.form() == form);
        let holds = |one: &EquipmentView| match (one.hopper_lb, one.tank_gal) {
            (Some(lb), _) => format!("{}, holds {lb} lb", one.name),
            (_, Some(gal)) => format!("{}, holds {gal} gal", one.name),
            _ => format!("{}, nobody has entered what it holds", one.name),
        };
        of.map(|one| Choice::new(one.id.to_string(), holds(one))).collect()
    }

    fn chosen(&self, form: &Form, name: &str) -> Option<&EquipmentView> {
        let id = form.fields.iter().find(|field| field.name == name)?.text();
        self.0.iter().find(|one| one.id.to_string() == id)
    }
}

async fn form(app: &App, machines: &Machines) -> Result<Form, Problem> {
    let people = store::people::list(app.store.reader(), ROWS).await?.into_iter().map(|row| row.item);
    let people = people.filter(|one| one.active);
    let fields = vec![
        Field::day("day", "Day"),
        Field::one("person_id", "Whose truck", people.map(|one| Choice::new(one.id.to_string(), one.name)).collect()),
        Field::amount("spare_percent", "Loaded beyond the need, %")
            .optional()
            .help("A tenth by common practice. What is not used comes back."),
        Field::one("spreader", "Spreader", machines.choices(ProductForm::Granular))
            .optional()
            .under("To count fills")
            .help("What its hopper holds is taken from the book."),
        Field::amount("hopper_lb", "Or what the hopper holds, lb").optional().help("Counts before the book's figure."),
        Field::one("sprayer", "Sprayer", machines.choices(ProductForm::Liquid))
            .optional()
            .help("What its tank holds is taken from the book, and what it puts down from this person's calibration."),
        Field::amount("tank_gal", "Or what the tank holds, gal").optional(),
        Field::amount("spray_gal_per_1000_sqft", "Or what the sprayer puts down, gal on 1,000 sq ft").optional(),
    ];
    Ok(Form::new("A load sheet", "/office/load-sheet", "Show the load sheet", fields).asking())
}

#[derive(Template)]
#[template(path = "load_sheet.html")]
struct LoadSheet {
    dates: DateOrder,
    sheet: DayLoad,
    /// What hopper and tank were taken from.
    taken: Vec<String>,
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
pub async fn sheet(desk: Desk, State(app): State<App>, sent: Sent) -> Result<Response, Problem> {
    let machines = Machines::read(&app).await?;
    let mut form = form(&app, &machines).await?;
    if !sent.is_empty() {
        form = form.sent(&sent);
    }
    // A link from a person asks for today.
    if sent.one("day").is_none() {
        let today = day(&app).await?.to_string();
        for (name, value) in [("day", today), ("spare_percent", SPARE.to_owned())] {
            form.field(name).into_iter().for_each(|field| field.value = vec![value.clone()]);
        }
    }
    if sent.one("person_id").is_none() {
        return Ok(form.note(NOTE).show());
    }
    let mut taken = Vec::new();
    match load(&app, desk, &form, &machines, &mut taken).await {
        Ok((sheet, csv)) => {
            let dates = dates(&app).await?;
            "Another day, person or truck".clone_into(&mut form.title);
            Ok(page(LoadSheet { dates, sheet, taken, csv, form }.render()))
        }
        Err(problem) => form.note(NOTE).refuse(problem),
    }
}

const NOTE: &str =
    "From the visits that are still to be made that day: product, bags, water and fills, for each stop and in all.";

async fn load(
    app: &App,
    desk: Desk,
    form: &Form,
    machines: &Machines,
    taken: &mut Vec<String>,
) -> Result<(DayLoad, String), Problem> {
    let said = |name: &str| form.fields.iter().find(|field| field.name == name).map(Field::text).unwrap_or_default();
    let on = Day::parse(said("day"));
    let mut faults = Vec::new();
    faults.extend(on.as_ref().err().map(|bad| FieldFault::parameter("day", "wrong_format", bad.to_string())));
    if said("person_id").is_empty() {
        faults.push(FieldFault::parameter("person_id", "missing", "is required"));
    }
    let mut query = form.query::<LoadSheetQuery>(app, &ASKED);
    if let (Ok(query), Ok(on)) = (&mut query, on) {
        if let Some(spreader) = machines.chosen(form, "spreader") {
            faults.extend(hopper(spreader, query, taken));
        }
        if let (Some(sprayer), Some(person)) = (machines.chosen(form, "sprayer"), query.person_id) {
            faults.extend(tank(app, sprayer, (person, on), query, taken).await?);
        }
    }
    let contradicts = |query: LoadSheetQuery| query.truck().map(|_| query);
    let query = also(query.and_then(contradicts), faults)?;
    let sheet = day_load(app, desk.0, said("day"), &query).await?;
    let mut csv = format!("/api/v1/days/{}/load-sheet?format=csv&person_id={}", sheet.day, sheet.person_id);
    let carried = [
        ("spare_percent", Some(sheet.spare_percent.to_string())),
        ("hopper_lb", query.hopper_lb.map(|holds| holds.to_string())),
        ("tank_gal", query.tank_gal.map(|holds| holds.to_string())),
        ("spray_gal_per_1000_sqft", query.spray_gal_per_1000_sqft.map(|rate| rate.to_string())),
    ];
    for (name, value) in carried {
        csv.extend(value.map(|value| format!("&{name}={value}")));
    }
    Ok((sheet, csv))
}

/// Takes what the hopper holds from the book, unless somebody typed it.
fn hopper(spreader: &EquipmentView, query: &mut LoadSheetQuery, taken: &mut Vec<String>) -> Option<FieldFault> {
    if query.hopper_lb.is_some() {
        return None;
    }
    query.hopper_lb = spreader.hopper_lb;
    match spreader.hopper_lb {
        Some(holds) => taken.push(format!("The hopper of {} holds {holds} lb.", spreader.name)),
        None => return Some(not_entered("spreader", &spreader.name)),
    }
    None
}

fn not_entered(field: &str, name: &str) -> FieldFault {
    let detail = format!("is {name}, of which nobody has entered what it holds: type it here, or correct the machine");
    FieldFault::parameter(field, "missing", detail)
}

/// Takes what the tank holds from the book, and what the sprayer puts down from the person's calibration.
async fn tank(
    app: &App,
    sprayer: &EquipmentView,
    (person, on): (PersonId, Day),
    query: &mut LoadSheetQuery,
    taken: &mut Vec<String>,
) -> Result<Vec<FieldFault>, Problem> {
    let mut faults = Vec::new();
    if query.tank_gal.is_none() {
        query.tank_gal = sprayer.tank_gal;
        match sprayer.tank_gal {
            Some(holds) => taken.push(format!("The tank of {} holds {holds} gal.", sprayer.name)),
            None => faults.push(not_entered("sprayer", &sprayer.name)),
        }
    }
    if query.spray_gal_per_1000_sqft.is_none() {
        match calibrated(app, sprayer.id, person, on).await?[..] {
            [rate] => {
                query.spray_gal_per_1000_sqft = Some(rate);
                taken.push(format!(
                    "{} puts down {rate} gal on 1,000 sq ft, by this person's calibration.",
                    sprayer.name
                ));
            }
            ref rates => {
                let name = &sprayer.name;
                let detail = if rates.is_empty() {
                    format!(
                        "is not known: this person has no calibration of {name} that stands; calibrate, or type it here"
                    )
                } else {
                    format!(
                        "is not one figure: {name} is calibrated differently for its products; type that of the day"
                    )
                };
                faults.push(FieldFault::parameter("spray_gal_per_1000_sqft", "missing", detail));
            }
        }
    }
    Ok(faults)
}

/// The rates that a sprayer was found to put down by one person, each once.
async fn calibrated(app: &App, sprayer: EquipmentId, person: PersonId, on: Day) -> Result<Vec<SprayRate>, Problem> {
    let products = equipment::product_ids(app).await?;
    let found = store::calibrations::in_force(app.store.reader(), Some(sprayer), &products, Some(person), on).await?;
    let mut rates: Vec<SprayRate> =
        found.into_iter().filter_map(|one| one.calibration.result.spray_gal_per_1000_sqft).collect();
    rates.sort_unstable();
    rates.dedup();
    Ok(rates)
}
