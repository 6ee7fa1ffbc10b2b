//! Spreaders and sprayers: what the company has, and how each stands with its calibrations.

use std::borrow::Borrow;

use askama::Template;
use axum::{extract::State, response::Response};
use domain::{
    equipment::EquipmentKind,
    ids::{self, EquipmentId, ProductId},
};

use crate::{
    api,
    extract::PathId,
    pages::{
        calibrations::{CalibrationLine, Names},
        form::{Field, Form, FormData, choices},
        office::{ALL_ROWS, ROWS, dates},
        office_session::OfficeSession,
        page,
    },
    problem::Problem,
    state::App,
    store::{
        self,
        calibrations::{Calibration, CalibrationInForce, Filter},
        equipment::EquipmentView,
        settings::DateOrder,
    },
    version::Versioned,
};

/// What a machine is called in a list, without its article.
pub fn kind_words(kind: impl Borrow<EquipmentKind>) -> &'static str {
    match kind.borrow() {
        EquipmentKind::DropSpreader => "drop spreader",
        EquipmentKind::RotarySpreader => "rotary spreader",
        EquipmentKind::BoomSprayer => "boom sprayer",
        EquipmentKind::SprayGun => "spray gun",
    }
}

fn form(title: String, action: String, button: &'static str) -> Form {
    let kinds = choices(&[
        ("drop_spreader", kind_words(EquipmentKind::DropSpreader)),
        ("rotary_spreader", kind_words(EquipmentKind::RotarySpreader)),
        ("boom_sprayer", kind_words(EquipmentKind::BoomSprayer)),
        ("spray_gun", kind_words(EquipmentKind::SprayGun)),
    ]);
    let fields = vec![
        Field::line("/name", "Name").help("As written on the machine, such as Spreader 01."),
        Field::one("/kind", "Kind", kinds).help("The kind cannot be changed; add a new machine."),
        Field::tick("/has_deflector", "A deflector is fitted")
            .help("Of a rotary spreader alone. Laws let it nearer to water, so it must be there."),
        Field::amount("/hopper_lb", "Hopper capacity, lb").optional().help("Of a spreader."),
        Field::amount("/tank_gal", "Tank capacity, gal").optional().help("Of a sprayer."),
        Field::amount("/swath_ft", "Swath width, ft")
            .optional()
            .help("As the maker states it. A row of pans shows the real width."),
        Field::number("/calibration_limits/days", "Days after which a calibration is old")
            .optional()
            .under("When it is to be calibrated again")
            .help("Both or neither: without them 365 days or 4 applications, whichever comes first."),
        Field::number("/calibration_limits/applications", "Applications after which it is old").optional(),
        Field::yes_or_no("/active", "In use").under("Whether it may be used"),
    ];
    Form::new(title, action, button, fields).back("/office/equipment")
}

fn blank() -> Form {
    form("A new machine".to_owned(), "/office/equipment/new".to_owned(), "Add the machine")
}

fn stored_form(machine: &EquipmentView) -> Form {
    let at = format!("/office/equipment/{}", machine.id);
    form(format!("Correct {}", machine.name), at.clone(), "Save").filled(machine, machine.version()).back(at)
}

/// A machine of the book.
pub async fn get(app: &App, id: EquipmentId) -> Result<EquipmentView, Problem> {
    let found = store::equipment::get(app.store.reader(), id).await?;
    found.ok_or_else(|| Problem::not_found("equipment"))
}

/// All products of the book, by which calibrations are looked for.
async fn product_ids(app: &App) -> Result<Vec<ProductId>, Problem> {
    let rows = store::products::list(app.store.reader(), ALL_ROWS).await?;
    Ok(rows.into_iter().map(|row| row.item.id).collect())
}

/// A machine in the list, with the newest calibration for each product.
struct Line {
    machine: EquipmentView,
    newest: Vec<CalibrationLine>,
}

#[derive(Template)]
#[template(path = "equipment.html")]
struct Equipment {
    lines: Vec<Line>,
}

/// Of each product the newest calibration that found a rate.
fn newest(found: &[CalibrationInForce], machine: EquipmentId) -> Vec<&CalibrationInForce> {
    let mut newest: Vec<&CalibrationInForce> = Vec::new();
    let rate =
        |one: &&CalibrationInForce| one.calibration.equipment_id == machine && one.calibration.result.rate_was_found();
    for one in found.iter().filter(rate) {
        match newest.iter_mut().find(|known| known.calibration.product_id == one.calibration.product_id) {
            Some(known) if known.calibration.calibrated_on <= one.calibration.calibrated_on => *known = one,
            Some(_) => {}
            None => newest.push(one),
        }
    }
    newest
}

/// All machines.
pub async fn list(_: OfficeSession, State(app): State<App>) -> Result<Response, Problem> {
    let (reader, today) = (app.store.reader(), api::office_day(&app).await?);
    let machines = store::equipment::list(reader, ALL_ROWS).await?;
    let found = store::calibrations::in_force(reader, None, &product_ids(&app).await?, None, today).await?;
    let names = Names::read(&app).await?;
    let lines = machines.into_iter().map(|row| Line {
        newest: newest(&found, row.item.id).into_iter().map(|one| names.standing(one)).collect(),
        machine: row.item,
    });
    Ok(page(Equipment { lines: lines.collect() }.render()))
}

pub async fn new(_: OfficeSession, State(app): State<App>) -> Response {
    blank().once(&app).show()
}

pub async fn add(desk: OfficeSession, State(app): State<App>, sent: FormData) -> Result<Response, Problem> {
    let form = blank().sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::equipment::create_equipment(desk.office(), State(app.clone()), key, valid).await
    };
    let done = done.await;
    form.made(&app, done, |id| format!("/office/equipment/{id}"))
}

#[derive(Template)]
#[template(path = "machine.html")]
struct MachinePage {
    dates: DateOrder,
    machine: EquipmentView,
    in_force: Vec<CalibrationLine>,
    /// Those that a newer one has superseded.
    older: Vec<(Calibration, String)>,
    /// Whether there may be more than the page shows.
    cut: bool,
    form: Form,
}

/// A machine with its calibrations, and the form that corrects it.
pub async fn one(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Equipment>,
) -> Result<Response, Problem> {
    let (reader, today, machine) = (app.store.reader(), api::office_day(&app).await?, get(&app, id).await?);
    let found = store::calibrations::in_force(reader, Some(id), &product_ids(&app).await?, None, today).await?;
    let all = store::calibrations::list(reader, ROWS, Filter { equipment: Some(id), ..Filter::default() }).await?;
    let names = Names::read(&app).await?;
    let cut = i64::try_from(all.len()).is_ok_and(|rows| rows >= ROWS.take);
    let stands = |one: &Calibration| found.iter().any(|standing| standing.calibration.id == one.id);
    let older = all.into_iter().rev().map(|row| row.item).filter(|one| !stands(one));
    let older = older.map(|one| (names.person(one.person_id), names.product(one.product_id), one));
    let older = older.map(|(person, product, one)| (one, format!("{product}, {person}"))).collect();
    let in_force = found.iter().map(|one| names.standing(one)).collect();
    let form = stored_form(&machine);
    let dates = dates(&app).await?;
    Ok(page(MachinePage { dates, machine, in_force, older, cut, form }.render()))
}

pub async fn change(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Equipment>,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = stored_form(&get(&app, id).await?).sent(&sent);
    let done = async {
        let (version, valid) = form.asked_change(&app)?;
        api::equipment::replace_equipment(desk.office(), State(app.clone()), PathId(id), version, valid).await
    };
    let done = done.await;
    form.changed(done, &stored_form(&get(&app, id).await?), &format!("/office/equipment/{id}"))
}
