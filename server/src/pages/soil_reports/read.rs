//! A soil report read out: what its numbers mean, P2O5 and K2O for the year, the lime, and how long the law takes it; each
//! with its source and how well that is known.

use askama::Template;
use axum::{Json, extract::State, response::Response};
use domain::{
    ids,
    law::ReportTaken,
    quantity::LimeCredit,
    soil::{
        lime_rules::CapOn,
        liming::LimeBy,
        table::{Advice, SoilUnit},
    },
    time::Day,
};

use crate::{
    access::AnyStaff,
    api::{self, soil_reports::LimeQuery},
    book::soil_reports::{self, LimeAsk, SoilInterpretation, SoilLime},
    extract::{PathId, ValidQuery},
    pages::{
        form::{Choice, Field, Form, FormData, choices},
        office::dates,
        office_session::OfficeSession,
        page,
        pictures::soil::SoilScale,
        sections,
    },
    problem::Problem,
    scope::Scope,
    state::App,
    store::{self, properties::Property, sections::Section, settings::DateOrder, soil_reports::SoilReport},
    zone::{self, UnknownZone},
};

/// What follows from a report.
pub struct Read {
    pub id: String,
    pub meaning: SoilInterpretation,
    pub lime: SoilLime,
    pub taken: Vec<ReportTaken>,
    pub scales: Vec<SoilScale>,
    /// What has no scale here, and why.
    pub without: Vec<String>,
}

impl Read {
    /// As of today at the property, with nothing said about the lime.
    pub fn today(app: &App, report: &SoilReport, section: &Section, property: &Property) -> Result<Self, UnknownZone> {
        let on = app.clock.now().day_in(&zone::of_property(property.id, &property.time_zone)?);
        Ok(Self::on(app, report, section, property, on))
    }

    fn on(app: &App, report: &SoilReport, section: &Section, property: &Property, first_on: Day) -> Self {
        let ask = LimeAsk {
            by: None,
            goal: None,
            cce: None,
            credit: LimeCredit::ZERO,
            split: None,
            cap_on: CapOn::default(),
            first_on,
        };
        let meaning = soil_reports::interpretation(report, property);
        let lime = soil_reports::lime(report, section, ask);
        let (scales, without) = scales(report, &meaning, &lime);
        Self {
            id: report.id.to_string(),
            meaning,
            lime,
            scales,
            without,
            taken: soil_reports::taken(report, property, &app.law(), first_on),
        }
    }
}

/// Each number of a report on its scale, and what has none.
fn scales(report: &SoilReport, meaning: &SoilInterpretation, lime: &SoilLime) -> (Vec<SoilScale>, Vec<String>) {
    let (mut scales, mut without) = (Vec::new(), Vec::new());
    if let Some(ph) = report.ph {
        let wanted = &lime.answer.target_ph;
        scales.extend(wanted.iter().map(|range| SoilScale::of_ph(ph, range)));
        without.extend(wanted.is_empty().then(|| format!("pH {ph}: no range was read for this turf.")));
    }
    for value in &meaning.values {
        if let Some(scale) = meaning.laboratory_table.and_then(|table| SoilScale::of(value, table)) {
            scales.push(scale);
            continue;
        }
        let (name, why) = (value.nutrient.label(), value.not_read.as_deref().unwrap_or_default());
        without.push(format!("{name} {} {}: {why}", value.reading, unit(value.unit)));
    }
    let others = [
        report.buffer_ph.map(|ph| format!("buffer pH {ph}")),
        report.organic_matter_percent.map(|share| format!("organic matter {share} %")),
    ];
    without.extend(others.into_iter().flatten().map(|what| format!("{what}: no published bands were read for it.")));
    (scales, without)
}

/// A sentence without the names of the API's parameters, which stand in brackets behind what they are.
pub fn plain(words: &str) -> String {
    let mut plain = words.to_owned();
    while let Some((before, after)) =
        plain.split_once(" (`").and_then(|(before, rest)| Some((before, rest.split_once("`)")?.1)))
    {
        plain = format!("{before}{after}");
    }
    plain
}

/// In what a number is given.
pub const fn unit(unit: SoilUnit) -> &'static str {
    match unit {
        SoilUnit::Ppm => "ppm",
        SoilUnit::LbPerAcre => "lb per acre",
        SoilUnit::MgPerLiter => "mg per liter",
        SoilUnit::Index => "of its index",
    }
}

/// What a table says about adding more.
pub const fn advice(advice: Advice) -> &'static str {
    match advice {
        Advice::Add => "its source recommends more",
        Advice::MayNeed => "its source says that more may be needed",
        Advice::None => "its source recommends none",
        Advice::NotSaid => "its source does not say whether more is wanted",
    }
}

/// Whose figure the lime is.
pub const fn whose(by: LimeBy) -> &'static str {
    match by {
        LimeBy::Laboratory => "the laboratory's own figure",
        LimeBy::PennState => "Penn State's table",
        LimeBy::NorthCarolina => "North Carolina's formula",
    }
}

#[derive(Template)]
#[template(path = "soil_report.html")]
struct ReportPage {
    dates: DateOrder,
    section: Section,
    report: SoilReport,
    read: Read,
    form: Form,
}

/// The rules by which lime is split.
pub fn split_rules() -> Vec<Choice> {
    choices(&[
        ("georgia", "Georgia: over 50 lb half now, then test again after four months"),
        ("north_carolina", "North Carolina: 50 lb at once, the rest six months later"),
        ("penn_state", "Penn State: 100 lb at once, four to six months apart"),
        ("penn_state_greens", "Penn State, greens and tees: 25 lb at once, four to six months apart"),
    ])
}

/// What the most at once is held against.
pub fn caps() -> Vec<Choice> {
    choices(&[("recommendation", "the lime as pure calcium carbonate"), ("material", "the material")])
}

fn lime_form(report: &SoilReport) -> Form {
    let by = choices(&[
        ("laboratory", "the laboratory's own figure"),
        ("penn_state", "Penn State's table"),
        ("north_carolina", "North Carolina's formula"),
    ]);
    let (rules, caps) = (split_rules(), caps());
    let fields = vec![
        Field::one("by", "Lime figure from", by).optional().help("The laboratory's own, if it gave one."),
        Field::amount("goal", "Target pH").optional(),
        Field::amount("cce_percent", "Calcium carbonate equivalent of the material, %")
            .optional()
            .help("From its label. Without it there is no amount of material."),
        Field::amount("credit_tons_per_acre", "Lime of earlier years that the report credits, tons per acre")
            .optional(),
        Field::one("split_rule", "Split by the rule of", rules).optional(),
        Field::one("cap_on", "The most at once is held against", caps).optional(),
        Field::day("first_on", "First day").optional().help("Today, if it is empty."),
    ];
    Form::new("Lime with other settings", format!("/office/soil-reports/{}", report.id), "Work the lime out", fields)
        .asking()
}

/// A report with what follows from it; the lime as somebody asks it.
pub async fn one(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::SoilReport>,
    sent: FormData,
) -> Result<Response, Problem> {
    let found = store::soil_reports::get(app.store.reader(), id, Scope::Company).await?;
    let report = found.ok_or_else(|| Problem::not_found("soil report"))?;
    let section = sections::get(&app, report.section_id).await?;
    let property = sections::property_of(&app, section.property_id).await?;
    let mut read = Read::today(&app, &report, &section, &property)?;
    let mut form = lime_form(&report);
    if !sent.is_empty() {
        form = form.sent(&sent);
        let asked = async {
            let query = form.query::<LimeQuery>(&app, "get_soil_report_lime")?;
            let staff = AnyStaff(desk.0);
            api::soil_reports::get_soil_report_lime(staff, State(app.clone()), PathId(id), ValidQuery(query)).await
        };
        match asked.await {
            Ok(Json(lime)) => read.lime = lime,
            Err(problem) => return form.back(format!("/office/soil-reports/{id}")).refuse(problem),
        }
    }
    Ok(page(ReportPage { dates: dates(&app).await?, section, report, read, form }.render()))
}

#[cfg(test)]
mod tests {
    use super::plain;

    #[test]
    fn a_sentence_loses_the_names_of_parameters() {
        assert_eq!(
            plain("The goal: say which (`goal`), from the ranges (`x`)."),
            "The goal: say which, from the ranges."
        );
        assert_eq!(plain("Take 1 (of 2)."), "Take 1 (of 2).");
    }
}
