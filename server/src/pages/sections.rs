//! Lawn sections, as the office enters and corrects them.

use askama::Template;
use axum::{extract::State, response::Response};
use domain::{
    ids::{self, SectionId, SoilReportId},
    land::Species,
};

use crate::{
    api,
    extract::PathId,
    pages::{
        form::{Choice, Field, Form, FormData, choices},
        history,
        office::{ROWS, dates},
        office_session::OfficeSession,
        page,
        soil_reports::read::Read,
        year::SoFar,
    },
    problem::Problem,
    scope::Scope,
    state::App,
    store::{
        self, divisions::Division, measurements::Measurement, properties::Property, sections::Section,
        settings::DateOrder, soil_reports::SoilReport, statements::About,
    },
    version::Versioned,
    zone::UnknownZone,
};

const SPECIES: [(&str, Species); 10] = [
    ("tall_fescue", Species::TallFescue),
    ("fine_fescue", Species::FineFescue),
    ("kentucky_bluegrass", Species::KentuckyBluegrass),
    ("perennial_ryegrass", Species::PerennialRyegrass),
    ("zoysia", Species::Zoysia),
    ("bermuda", Species::Bermuda),
    ("st_augustine", Species::StAugustine),
    ("centipede", Species::Centipede),
    ("bahia", Species::Bahia),
    ("other", Species::Other),
];

/// The turf that may be chosen.
pub fn species() -> Vec<Choice> {
    SPECIES.iter().map(|(value, species)| Choice::new(*value, species.label())).collect()
}

/// The fields of a section.
pub fn fields() -> Vec<Field> {
    let water =
        choices(&[("none", "checked: no water is near"), ("near", "near, or measured"), ("unknown", "not checked")]);
    vec![
        Field::line("/name", "Name").help("Such as front lawn."),
        Field::one("/species", "Turf species", species()).optional(),
        Field::one("/water", "Water, drains, curb", water).help(
            "Some laws count storm drains, ditches, or the curb like water. There, measure the nearest of them too.",
        ),
        Field::amount("/water_distance_ft", "Distance to it, ft")
            .optional()
            .help("The shortest, measured, however long it is. Fill in only if near, or measured."),
        Field::amount("/natural_strip_ft", "Natural strip between lawn and water, ft").optional(),
        Field::day("/established_on", "Seeded or sodded on").optional(),
        Field::yes_or_no("/touches_pavement", "Pavement, a walk or a drive lies beside it"),
        Field::one("/maintenance", "Care level", with_unknown(&["low", "medium", "high"]))
            .help("The season's plan needs it."),
        Field::one("/clippings", "Clippings", with_unknown(&["left", "taken"])),
        Field::one("/shade", "Shade", with_unknown(&["light", "medium", "heavy"])),
    ]
}

fn form(property: ids::PropertyId, title: String, action: String, button: &'static str) -> Form {
    let mut fields = fields();
    fields.push(Field::hidden("/property_id", property.to_string()));
    Form::new(title, action, button, fields)
}

/// What the API calls these is what people say, and that nobody has said is a choice of its own.
fn with_unknown(values: &[&'static str]) -> Vec<Choice> {
    let said = values.iter().map(|value| Choice::new(*value, *value));
    said.chain([Choice::new("unknown", "not known")]).collect()
}

fn blank(property: &Property) -> Form {
    let at = format!("/office/properties/{}", property.id);
    let title = format!("A new lawn section at {}", property.address);
    form(property.id, title, format!("{at}/sections/new"), "Add the section").back(at)
}

fn stored_form(section: &Section) -> Form {
    let at = format!("/office/sections/{}", section.id);
    let mut form = form(section.property_id, format!("Change the {}", section.name), at.clone(), "Save");
    form.fields.push(history::since());
    form.filled(section, section.version()).back(at)
}

/// A section of the book.
pub async fn get(app: &App, id: SectionId) -> Result<Section, Problem> {
    let found = store::sections::get(app.store.reader(), id, Scope::Company).await?;
    found.ok_or_else(|| Problem::not_found("lawn section"))
}

/// A property of the book.
pub async fn property_of(app: &App, id: ids::PropertyId) -> Result<Property, Problem> {
    let found = store::properties::get(app.store.reader(), id, Scope::Company).await?;
    found.ok_or_else(|| Problem::not_found("property"))
}

pub async fn new(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Property>,
) -> Result<Response, Problem> {
    Ok(blank(&property_of(&app, id).await?).once(&app).show())
}

pub async fn add(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Property>,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = blank(&property_of(&app, id).await?).sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::sections::create_section(desk.office(), State(app.clone()), key, valid).await
    };
    let done = done.await;
    form.made(&app, done, |id| format!("/office/sections/{id}"))
}

#[derive(Template)]
#[template(path = "section.html")]
struct SectionPage {
    dates: DateOrder,
    section: Section,
    property: Property,
    measurements: Vec<Measurement>,
    reports: Vec<SoilReport>,
    divisions: Vec<Division>,
    /// What the newest report means.
    read: Option<Read>,
    so_far: SoFar,
    form: Form,
}

/// Where a report stands among those of its day: the later written counts, and what corrects one stands where that one stood.
fn place(report: &SoilReport, all: &[SoilReport]) -> Option<usize> {
    let taken = |id: SoilReportId| all.iter().find(|one| one.id == id && one.sampled_on == report.sampled_on);
    let mut first = report;
    while let Some(before) = first.corrects.and_then(taken) {
        first = before;
    }
    all.iter().position(|one| one.id == first.id)
}

/// A section with its measurements and soil reports, and the form that corrects it.
pub async fn one(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
) -> Result<Response, Problem> {
    let section = get(&app, id).await?;
    let property = property_of(&app, section.property_id).await?;
    let measurements = store::measurements::list(app.store.reader(), ROWS, id).await?;
    let reports = store::soil_reports::list(app.store.reader(), ROWS, id).await?;
    let divisions = store::divisions::list(app.store.reader(), ROWS, id).await?;
    let divisions = divisions.into_iter().map(|row| row.item).collect();
    let form = stored_form(&section);
    let measurements = measurements.into_iter().map(|row| row.item).collect();
    let reports: Vec<SoilReport> = reports.into_iter().map(|row| row.item).collect();
    let counts = |report: &&SoilReport| report.corrected_by.is_none() && !report.not_of_this_lawn;
    let newest = reports.iter().filter(counts).max_by_key(|report| (report.sampled_on, place(report, &reports)));
    let read = newest.map(|report| {
        let mut read = Read::today(&app, report, &section, &property)?;
        // Those of the report itself stand beside it in the list already.
        read.meaning.cautions.retain(|caution| !report.cautions.iter().any(|told| told.0 == caution.0));
        Ok::<_, UnknownZone>(read)
    });
    let read = read.transpose()?;
    let (dates, so_far) = (dates(&app).await?, SoFar::of(&app, About::Section(id)).await);
    let shown = SectionPage { dates, section, property, measurements, reports, divisions, read, so_far, form };
    Ok(page(shown.render()))
}

pub async fn change(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = stored_form(&get(&app, id).await?).sent(&sent);
    let done = async {
        let (version, valid) = form.asked_change(&app)?;
        api::sections::replace_section(desk.office(), State(app.clone()), PathId(id), version, valid).await
    };
    let done = done.await;
    form.changed(done, &stored_form(&get(&app, id).await?), &format!("/office/sections/{id}"))
}
