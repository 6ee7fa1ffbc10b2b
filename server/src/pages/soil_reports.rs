//! Soil reports of a lawn section: only ever added, and read out with what follows from them.

pub mod read;

use axum::{extract::State, response::Response};
use domain::{
    ids::{self, SoilReportId},
    soil::table::Extractant,
};
use serde_json::json;

pub use crate::pages::soil_reports::read::one;
use crate::{
    api,
    extract::PathId,
    pages::{
        form::{Choice, Field, Form, FormData, choices},
        office_session::OfficeSession,
        sections,
    },
    problem::Problem,
    scope::Scope,
    state::App,
    store::{self, sections::Section, soil_reports::SoilReport},
};

const EXTRACTANTS: [(&str, Extractant); 9] = [
    ("mehlich_3", Extractant::Mehlich3),
    ("mehlich_1", Extractant::Mehlich1),
    ("bray_p1", Extractant::BrayP1),
    ("modified_morgan", Extractant::ModifiedMorgan),
    ("morgan", Extractant::Morgan),
    ("olsen", Extractant::Olsen),
    ("ammonium_acetate", Extractant::AmmoniumAcetate),
    ("ab_dtpa", Extractant::AbDtpa),
    ("other_stated", Extractant::OtherStated),
];

fn extractants() -> Vec<Choice> {
    EXTRACTANTS.iter().map(|(value, one)| Choice::new(*value, one.label())).collect()
}

/// The published tables of laboratories that were read.
const TABLES: [(&str, &str); 11] = [
    ("rutgers", "Rutgers"),
    ("georgia_coastal_plain", "University of Georgia, Coastal Plain"),
    ("georgia_piedmont", "University of Georgia, Piedmont, Mountain and Limestone Valley"),
    ("massachusetts", "University of Massachusetts"),
    ("penn_state_home_lawn", "Penn State, home lawns"),
    ("penn_state_putting_green", "Penn State, putting greens"),
    ("washington_turf", "Washington State, turf"),
    ("cornell", "Cornell, lawns and sports fields"),
    ("oklahoma", "Oklahoma State's index"),
    ("northern_ireland", "Northern Ireland, grassland"),
    ("field_crops", "field crops, Building Soils for Better Crops"),
];

/// Numbers of single nutrients on a form; the API takes more.
const VALUES: usize = 6;
const MOST_VALUES: usize = 40;

/// One number from the laboratory's paper.
fn value(row: usize) -> [Field; 6] {
    let at = |member: &str| format!("/values/{row}/{member}");
    let label = |words: &str| format!("Number {}: {words}", row + 1);
    let nutrients = choices(&[
        ("phosphorus", "phosphorus"),
        ("potassium", "potassium"),
        ("magnesium", "magnesium"),
        ("calcium", "calcium"),
    ]);
    let units = choices(&[
        ("ppm", "parts per million (mg/kg)"),
        ("lb_per_acre", "lb per acre"),
        ("mg_per_liter", "mg per liter of soil (mg/dm3)"),
        ("index", "the laboratory's own index"),
    ]);
    let bases = choices(&[("element", "the element (P, K, Mg, Ca)"), ("oxide", "its oxide (P2O5, K2O)")]);
    [
        Field::one(&at("nutrient"), &label("nutrient"), nutrients).under(format!("Number {}", row + 1)),
        Field::amount(&at("reading"), &label("as printed")),
        Field::one(&at("unit"), &label("unit"), units),
        Field::one(&at("basis"), &label("counts"), bases),
        Field::one(&at("extractant"), &label("extractant"), extractants())
            .optional()
            .help("That of the report, if nothing is chosen."),
        Field::number(&at("north_carolina_equation"), &label("equation of North Carolina's laboratory"))
            .optional()
            .help("Its number for the crop, only beside its Mehlich-3 index."),
    ]
}

fn blank(section: &Section, rows: usize) -> Form {
    let at = format!("/office/sections/{}", section.id);
    let tools = choices(&[
        ("probe", "soil probe"),
        ("auger", "auger"),
        ("spade", "spade"),
        ("trowel", "trowel"),
        ("other", "something else"),
    ]);
    let ratings = choices(&[
        ("very_low", "very low"),
        ("low", "low"),
        ("medium", "medium"),
        ("optimum", "optimum"),
        ("high", "high"),
        ("excessive", "excessive"),
    ]);
    let mut fields = vec![
        Field::day("/sampled_on", "Sampled on").help("The report's age counts from this day."),
        Field::line("/laboratory", "Laboratory"),
        Field::line("/laboratory_number", "The laboratory's number of the report").optional(),
        Field::one("/extractant", "Extractant", extractants()),
        Field::number("/cores", "Cores").optional().help("Ten or more make one sample, by common practice."),
        Field::amount("/depth_in", "Depth of the cores, in").optional(),
        Field::one("/tool", "Dug with", tools).optional(),
        Field::tick("/before_planting", "Dug before seeding or sodding, in the soil that will be tilled"),
        Field::amount("/ph", "pH").optional(),
        Field::amount("/buffer_ph", "Buffer pH").optional(),
        Field::amount("/acidity/meq", "Acidity that lime must neutralize, meq")
            .optional()
            .help("Exchangeable or buffer acidity, with the measure of soil below."),
        Field::one(
            "/acidity/per",
            "Acidity of",
            choices(&[("100_g", "100 g of soil"), ("100_cm3", "100 cubic centimeters of soil")]),
        )
        .optional(),
        Field::amount("/organic_matter_percent", "Organic matter, %").optional(),
        Field::one("/phosphorus", "Phosphorus, as the laboratory rates it", ratings).optional(),
        Field::amount(
            "/phosphate_recommended_lb_per_1000_sqft",
            "P2O5 that it recommends for the year, lb per 1,000 sq ft",
        )
        .optional()
        .help("0 when it says that none is needed; empty when it says nothing."),
        Field::amount("/potash_recommended_lb_per_1000_sqft", "K2O that it recommends for the year, lb per 1,000 sq ft")
            .optional()
            .help("0 when it says that none is needed; empty when it says nothing."),
        Field::amount("/lime_recommended_lb_per_1000_sqft", "Lime that it recommends, lb per 1,000 sq ft")
            .optional()
            .help("As pure calcium carbonate; 0 when it says that none is needed."),
        Field::one("/laboratory_table", "Published table of this very laboratory", choices(&TABLES))
            .optional()
            .under("Its numbers of single nutrients")
            .help("Without it the numbers are kept and not interpreted: one laboratory's table never reads another's number."),
    ];
    fields.extend((0..rows).flat_map(value));
    Form::new(
        format!("A soil report of the {}", section.name),
        format!("{at}/soil-reports/new"),
        "Add the soil report",
        fields,
    )
    .back(at)
    .note("Copied from the laboratory's paper. It is never edited: the one with the newest sample counts.")
}

pub async fn new(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
) -> Result<Response, Problem> {
    Ok(blank(&sections::get(&app, id).await?, VALUES).once(&app).show())
}

pub async fn add(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
    sent: FormData,
) -> Result<Response, Problem> {
    let rows = sent.closed_up().rows("/values/").clamp(VALUES, MOST_VALUES);
    let form = blank(&sections::get(&app, id).await?, rows).sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::soil_reports::record_soil_report(desk.office(), State(app.clone()), key, PathId(id), valid).await
    };
    let done = done.await;
    form.made(&app, done, |_| format!("/office/sections/{id}"))
}

/// The form with what was entered of a report that is wrong.
fn correction(section: &Section, report: &SoilReport, rows: usize) -> Result<Form, Problem> {
    let mut form = blank(section, rows);
    form.title = format!("Correct a soil report of the {}", section.name);
    form.action = format!("/office/soil-reports/{}/correct", report.id);
    form.button = "Save the correction";
    form.notes = vec!["The report stays to be read and counts no more; this one takes its place.".to_owned()];
    let stored = serde_json::to_value(report)?;
    for field in &mut form.fields {
        if let Some(value) = stored.pointer(&field.name).filter(|value| !value.is_null()) {
            field.fill(value);
        }
    }
    let elsewhere = Field::tick("/not_of_this_lawn", "It was entered on the wrong lawn and is not of this one");
    form.fields.push(elsewhere.help("Then neither counts here. Add it on its own lawn."));
    let reason = Field::line("/reason", "Why it is corrected");
    form.fields.push(reason.help("It stands beside the report, and on statements of the years it is about."));
    Ok(form.back(format!("/office/soil-reports/{}", report.id)))
}

async fn report(app: &App, id: SoilReportId) -> Result<(Section, SoilReport), Problem> {
    let found = store::soil_reports::get(app.store.reader(), id, Scope::Company).await?;
    let report = found.ok_or_else(|| Problem::not_found("soil report"))?;
    Ok((sections::get(app, report.section_id).await?, report))
}

/// The form to correct a report.
pub async fn wrong(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::SoilReport>,
) -> Result<Response, Problem> {
    let (section, report) = report(&app, id).await?;
    let rows = report.values.len().clamp(VALUES, MOST_VALUES);
    Ok(correction(&section, &report, rows)?.once(&app).show())
}

/// Stores a correction of a report.
pub async fn correct(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::SoilReport>,
    sent: FormData,
) -> Result<Response, Problem> {
    let (section, report) = report(&app, id).await?;
    let rows = sent.closed_up().rows("/values/").max(report.values.len()).clamp(VALUES, MOST_VALUES);
    let form = correction(&section, &report, rows)?.sent(&sent);
    let done = async {
        let mut body = form.body();
        body["corrects"] = json!(report.id);
        let (key, valid) = (form.key()?, form.valid_body(&app, body)?);
        let section = PathId(section.id);
        api::soil_reports::record_soil_report(desk.office(), State(app.clone()), key, section, valid).await
    };
    let done = done.await;
    form.made(&app, done, |id| format!("/office/soil-reports/{id}"))
}
