//! Calibrations of a machine: the test is chosen, then what it measured is written down, and what follows is read out. Only
//! ever added.

mod methods;

use std::collections::HashMap;

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use domain::{
    calibration::{self, catch_test::CatchResult, pattern::Evenness},
    ids::{self, PersonId, ProductId},
    quantity::Percent,
};
use serde::Deserialize;

use crate::{
    access::AnyStaff,
    api,
    extract::PathId,
    pages::{
        calibrations::methods::{Method, measured, methods},
        equipment,
        form::{Choice, Field, Form, FormData},
        office::{ALL_ROWS, dates},
        office_session::OfficeSession,
        page,
    },
    problem::Problem,
    state::App,
    store::{
        self,
        calibrations::{Calibration, CalibrationInForce},
        equipment::EquipmentView,
        products::ProductStatus,
        settings::DateOrder,
    },
};

/// How the company writes a day, and what people and products are called.
pub struct Names {
    dates: DateOrder,
    people: HashMap<PersonId, String>,
    products: HashMap<ProductId, String>,
}

impl Names {
    pub async fn read(app: &App) -> Result<Self, Problem> {
        let reader = app.store.reader();
        let people = store::people::list(reader, ALL_ROWS).await?.into_iter();
        let products = store::products::list(reader, ALL_ROWS).await?.into_iter();
        Ok(Self {
            dates: dates(app).await?,
            people: people.map(|row| (row.item.id, row.item.name)).collect(),
            products: products.map(|row| (row.item.id, row.item.name)).collect(),
        })
    }

    pub fn person(&self, id: PersonId) -> String {
        self.people.get(&id).cloned().unwrap_or_else(|| "somebody".to_owned())
    }

    pub fn product(&self, id: ProductId) -> String {
        self.products.get(&id).cloned().unwrap_or_else(|| "a product".to_owned())
    }

    pub fn standing(&self, one: &CalibrationInForce) -> CalibrationLine {
        let (class, stands) = match one.standing {
            calibration::CalibrationStatus::Fresh => ("go", "✓ in order"),
            calibration::CalibrationStatus::Due => ("care", "▲ due soon"),
            calibration::CalibrationStatus::Out => ("stop", "■ too old, calibrate before use"),
        };
        let counted = |count: i32, what: &str| format!("{count} {what}{}", if count == 1 { "" } else { "s" });
        CalibrationLine {
            id: one.calibration.id.to_string(),
            product: self.product(one.calibration.product_id),
            person: self.person(one.calibration.person_id),
            on: self.dates.day(one.calibration.calibrated_on),
            found: found(&one.calibration.result),
            band: Band::of(&one.calibration.result),
            class,
            words: stands,
            age: format!(
                "{} and {} since; old after {} or {}",
                counted(one.days_since, "day"),
                counted(one.applications_since, "application"),
                counted(one.limits.days, "day"),
                counted(one.limits.applications, "application"),
            ),
        }
    }
}

/// A calibration that stands, as a page tells it.
pub struct CalibrationLine {
    pub id: String,
    pub product: String,
    pub person: String,
    pub on: String,
    pub found: String,
    pub band: Option<Band>,
    pub class: &'static str,
    pub words: &'static str,
    pub age: String,
}

/// How what was measured stands to what was aimed at.
pub struct Band {
    pub class: &'static str,
    pub words: String,
}

impl Band {
    fn of(result: &CatchResult) -> Option<Self> {
        let acceptance = result.acceptance.as_ref()?;
        let off = acceptance.deviation_hundredths_percent;
        let how = match off {
            0 => "on the target".to_owned(),
            off if off < 0 => format!("{} % below the target", Percent::from_raw(-off)),
            off => format!("{} % above the target", Percent::from_raw(off)),
        };
        Some(if acceptance.accepted {
            Self { class: "go", words: format!("✓ accepted, {how}") }
        } else {
            Self { class: "stop", words: format!("■ not accepted, {how}") }
        })
    }
}

/// What a test found, in one line.
pub fn found(result: &CatchResult) -> String {
    if let Some(rate) = result.product_lb_per_1000_sqft {
        format!("{rate} lb of product per 1,000 sq ft")
    } else if let (Some(rate), Some(acre)) = (result.spray_gal_per_1000_sqft, result.spray_gal_per_acre) {
        format!("{rate} gal of spray per 1,000 sq ft, {acre} gal per acre")
    } else if let Some(swath) = result.effective_swath_ft {
        format!("an effective swath of {swath} ft")
    } else {
        "nothing".to_owned()
    }
}

#[derive(Debug, Deserialize)]
pub struct Chosen {
    method: Option<String>,
}

#[derive(Template)]
#[template(path = "calibration_methods.html")]
struct Methods {
    machine: EquipmentView,
    methods: Vec<&'static Method>,
}

async fn blank(app: &App, machine: &EquipmentView, method: &Method) -> Result<Form, Problem> {
    let reader = app.store.reader();
    let products = store::products::list(reader, ALL_ROWS).await?.into_iter().map(|row| row.item);
    let products = products.filter(|one| one.label.form == machine.kind.form() && one.status != ProductStatus::Retired);
    let people = store::people::list(reader, ALL_ROWS).await?.into_iter().map(|row| row.item).filter(|one| one.active);
    let mut fields = vec![
        Field::hidden("/equipment_id", machine.id.to_string()),
        Field::hidden("/test/method", method.word),
        Field::one("/product_id", "Product", products.map(|one| Choice::new(one.id.to_string(), one.name)).collect())
            .help("Those that go through this machine."),
        Field::one(
            "/person_id",
            "Who walked or drove",
            people.map(|one| Choice::new(one.id.to_string(), one.name)).collect(),
        )
        .optional()
        .help("You, if nobody is chosen. Pace changes the rate, so it holds for that person."),
        Field::day("/calibrated_on", "On"),
        Field::line("/setting", "Set to")
            .optional()
            .help("Gate, dial, or nozzle and pressure, as the machine shows it."),
    ];
    fields.extend(measured(method, machine.kind));
    fields.push(Field::lines("/note", "Anything else").optional().under("Note"));
    let at = format!("/office/equipment/{}", machine.id);
    let title = format!("Calibrate {}: {}", machine.name, method.name);
    let action = format!("{at}/calibrations/new?method={}", method.word);
    Ok(Form::new(title, action, "Work it out and keep it", fields).back(at).note(method.how).note(CAUTION))
}

/// *Common practice* of whoever handles machinery and product.
const CAUTION: &str = "The label prevails: read it, and wear what it asks for. Fill and catch on pavement or a tarpaulin, away from drains and water, and sweep up at once. Keep hands out of the gate and the spinner, and nozzles away from people; stop the machine before you reach in.";

fn chosen(machine: &EquipmentView, chosen: &Chosen) -> Option<&'static Method> {
    methods(machine.kind).into_iter().find(|method| Some(method.word) == chosen.method.as_deref())
}

/// The choice of a test, or the form of the chosen one.
pub async fn new(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Equipment>,
    Query(asked): Query<Chosen>,
) -> Result<Response, Problem> {
    let machine = equipment::get(&app, id).await?;
    match chosen(&machine, &asked) {
        Some(method) => Ok(blank(&app, &machine, method).await?.once(&app).show()),
        None => Ok(page(Methods { methods: methods(machine.kind), machine }.render())),
    }
}

pub async fn add(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Equipment>,
    Query(asked): Query<Chosen>,
    sent: FormData,
) -> Result<Response, Problem> {
    let machine = equipment::get(&app, id).await?;
    let method = chosen(&machine, &asked).ok_or_else(|| Problem::not_found("way to calibrate this machine"))?;
    let form = blank(&app, &machine, method).await?.sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::calibrations::record_calibration(AnyStaff(desk.0), State(app.clone()), key, valid).await
    };
    let done = done.await;
    form.made(&app, done, |id| format!("/office/calibrations/{id}"))
}

#[derive(Template)]
#[template(path = "calibration.html")]
struct CalibrationPage {
    dates: DateOrder,
    machine: EquipmentView,
    one: Calibration,
    product: String,
    person: String,
    found: String,
    band: Option<Band>,
    target: Option<String>,
    evenness: Option<(&'static str, String)>,
    worn: Option<(&'static str, String)>,
    /// Status today; nothing when a newer one has taken its place, or it is of a day to come.
    standing: Option<CalibrationLine>,
    to_come: bool,
    caution: &'static str,
}

fn evenness(result: &CatchResult) -> Option<(&'static str, String)> {
    let variation = result.variation.as_ref()?;
    let share = Percent::from_raw(variation.hundredths_percent);
    Some(match variation.evenness {
        Evenness::Acceptable => ("go", format!("✓ even enough: the catches vary by {share} %")),
        Evenness::Care => ("care", format!("▲ take care: the catches vary by {share} %")),
        Evenness::Rejected => ("stop", format!("■ too uneven: the catches vary by {share} %")),
    })
}

/// Which nozzles are worn, where more than one was caught.
fn worn(result: &CatchResult) -> Option<(&'static str, String)> {
    let worn: Vec<String> = result.worn_nozzles.as_ref()?.iter().map(ToString::to_string).collect();
    Some(match worn.as_slice() {
        [] => ("go", "✓ none is more than 10 % from the mean".to_owned()),
        worn => {
            let which = worn.join(", ");
            ("stop", format!("■ replace, more than 10 % from the mean: {which}, the one above counted as 1"))
        }
    })
}

/// One calibration: what was measured and what follows.
pub async fn one(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Calibration>,
) -> Result<Response, Problem> {
    let reader = app.store.reader();
    let found_here = store::calibrations::get(reader, id).await?;
    let one = found_here.ok_or_else(|| Problem::not_found("calibration"))?;
    let machine = equipment::get(&app, one.equipment_id).await?;
    let names = Names::read(&app).await?;
    let (equipment, products, person) = (Some(one.equipment_id), [one.product_id], Some(one.person_id));
    let today = api::office_day(&app).await?;
    let standing = store::calibrations::in_force(reader, equipment, &products, person, today).await?;
    let standing = standing.iter().find(|other| other.calibration.id == id).map(|other| names.standing(other));
    Ok(page(
        CalibrationPage {
            dates: dates(&app).await?,
            product: names.product(one.product_id),
            person: names.person(one.person_id),
            found: found(&one.result),
            band: Band::of(&one.result),
            target: methods::target(&one.test),
            evenness: evenness(&one.result),
            worn: worn(&one.result),
            standing,
            to_come: one.calibrated_on > today,
            caution: CAUTION,
            machine,
            one,
        }
        .render(),
    ))
}
