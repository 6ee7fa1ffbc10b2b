//! Soil reports of a lawn section: only ever added.

use axum::{extract::State, response::Response};
use domain::{ids, soil::interpret::Extractant};

use super::{
    desk::Desk,
    form::{Choice, Field, Form, Sent, choices},
    sections,
};
use crate::{api, app::App, extract::PathId, problem::Problem, store::sections::Section};

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

fn blank(section: &Section) -> Form {
    let at = format!("/office/sections/{}", section.id);
    let extractants = EXTRACTANTS.iter().map(|(value, one)| Choice::new(*value, one.words())).collect();
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
    let fields = vec![
        Field::day("/sampled_on", "Sampled on").help("The report's age counts from this day."),
        Field::line("/laboratory", "Laboratory"),
        Field::line("/laboratory_number", "The laboratory's number of the report").optional(),
        Field::one("/extractant", "Extractant", extractants),
        Field::number("/cores", "Cores").optional().help("Ten or more make one sample, by common practice."),
        Field::amount("/depth_in", "Depth of the cores, in").optional(),
        Field::one("/tool", "Dug with", tools).optional(),
        Field::amount("/ph", "pH").optional(),
        Field::amount("/buffer_ph", "Buffer pH").optional(),
        Field::amount("/organic_matter_percent", "Organic matter, %").optional(),
        Field::one("/phosphorus", "Phosphorus, as the laboratory rates it", ratings).optional(),
        Field::amount(
            "/phosphate_recommended_lb_per_1000_sqft",
            "P2O5 that it recommends for the year, lb on 1,000 sq ft",
        )
        .optional()
        .help("0 when it says that none is needed; empty when it says nothing."),
        Field::amount("/potash_recommended_lb_per_1000_sqft", "K2O that it recommends for the year, lb on 1,000 sq ft")
            .optional()
            .help("0 when it says that none is needed; empty when it says nothing."),
        Field::amount("/lime_recommended_lb_per_1000_sqft", "Lime that it recommends, lb on 1,000 sq ft")
            .optional()
            .help("As pure calcium carbonate; 0 when it says that none is needed."),
    ];
    Form::new(
        format!("A soil report of the {}", section.name),
        format!("{at}/soil-reports/new"),
        "Add the soil report",
        fields,
    )
    .back(at)
    .note("Copied from the laboratory's paper. It is never edited: a later one takes its place. Its numbers of single nutrients are entered by the API.")
}

pub async fn new(_: Desk, State(app): State<App>, PathId(id): PathId<ids::Section>) -> Result<Response, Problem> {
    Ok(blank(&sections::get(&app, id).await?).once(&app).show())
}

pub async fn add(
    desk: Desk,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
    sent: Sent,
) -> Result<Response, Problem> {
    let form = blank(&sections::get(&app, id).await?).sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::soil_reports::create_soil_report(desk.office(), State(app.clone()), key, PathId(id), valid).await
    };
    let done = done.await;
    form.made(&app, done, |_| format!("/office/sections/{id}"))
}
