//! Every element of the pages once, with invented figures.

use askama::Template;
use axum::response::Response;
use domain::{
    decision::Verdict,
    land::Species,
    quantity::{NutrientRate, SoilPh, SoilReading},
    soil::{
        reading::{ReportedValue, read_value},
        table::{Extractant, SoilBasis, SoilNutrient, SoilTable, SoilUnit},
        target_ph::target_ph,
    },
    time::Day,
};

use crate::{
    access::Anyone,
    pages::{
        form::{Field, Form, choices},
        page_without_form,
        pictures::{
            calendar::{Calendar, Days, Row, Sign},
            hours::{Hour, HourStrip},
            room::RoomBar,
            soil::SoilScale,
        },
    },
};

#[derive(Template)]
#[template(path = "help_style.html")]
struct StylePage {
    bars: Vec<RoomBar>,
    calendar: Calendar,
    hours: Option<HourStrip>,
    scales: Vec<SoilScale>,
    form: Form,
}

/// It sends nothing that is stored.
fn form() -> Form {
    let fields = vec![
        Field::line("/name", "Name").help("Such as front lawn."),
        Field::one("/species", "Turf species", choices(&[("tall_fescue", "tall fescue"), ("zoysia", "zoysia")]))
            .optional(),
        Field::lines("/note", "Note").optional(),
        Field::tick("/shade", "Shade").under("A part of the form"),
        Field::day("/since", "Seeded on").optional().folded("What is folded"),
    ];
    Form::new("An example", "/help/style", "Save", fields).asking()
}

/// A year of an invented lawn: what was made, what stands, what is planned, and a winter.
fn calendar() -> Calendar {
    let (first, last) =
        (Day::parse("2026-01-01").unwrap_or(Day::FIRST), Day::parse("2026-12-31").unwrap_or(Day::FIRST));
    let days = |from: i32, to: i32, words: &str| Days {
        from: first.plus_days(from),
        to: first.plus_days(to),
        words: words.to_owned(),
    };
    let row = |name: &str, note: &str, open: (i32, i32), mark: Option<(i32, Sign, &str)>| Row {
        name: name.to_owned(),
        note: note.to_owned(),
        open: vec![days(open.0, open.1, "days of the round")],
        closed: vec![days(319, 364, "nothing may go down")],
        marks: mark.map(|(on, sign, words)| (first.plus_days(on), sign, words.to_owned())).into_iter().collect(),
        ..Row::default()
    };
    let rows = vec![
        row("spring", "● in visits", (90, 130), Some((101, Sign::Done, "a visit was made"))),
        row("early autumn", "● in visits", (243, 272), Some((262, Sign::Visit, "a visit stands"))),
        row("late autumn", "✓ planned", (273, 318), Some((280, Sign::Planned, "planned: 12.3 lb"))),
        row("winter", "▲ left out", (335, 355), None),
    ];
    Calendar::of(rows, (first, last), first.plus_days(257))
}

/// A morning that is dry, then windy, then too hot.
fn hours() -> Option<HourStrip> {
    let hour = |begins: &str, verdict, wind: Option<&str>, rain: &str| Hour {
        begins: begins.to_owned(),
        span: String::new(),
        verdict,
        air: None,
        wind: wind.map(str::to_owned),
        gust: None,
        rain: Some(rain.to_owned()),
    };
    HourStrip::of(&[
        hour("7 AM", Verdict::Go, Some("5"), "0"),
        hour("8 AM", Verdict::Go, Some("5.6"), "0"),
        hour("9 AM", Verdict::Care, None, "0"),
        hour("10 AM", Verdict::Stop, Some("21.8"), "0.02"),
        hour("11 AM", Verdict::Stop, Some("18"), "0.31"),
    ])
}

/// An invented report, on the table of a laboratory that is real, and on a range that is.
fn scales() -> Vec<SoilScale> {
    let value = ReportedValue {
        nutrient: SoilNutrient::Phosphorus,
        reading: SoilReading::from_raw(30_000),
        extractant: Extractant::Mehlich3,
        unit: SoilUnit::LbPerAcre,
        basis: SoilBasis::Element,
        north_carolina_equation: None,
    };
    let wanted = target_ph(Species::KentuckyBluegrass).first();
    let acid = wanted.map(|range| SoilScale::of_ph(SoilPh::from_raw(580), range));
    let found = SoilScale::of(&read_value(&value, Some(SoilTable::Rutgers)), SoilTable::Rutgers);
    found.into_iter().chain(acid).collect()
}

pub async fn page(_: Anyone) -> Response {
    // Millionths of a pound on 1,000 square feet.
    let [under, planned, over, cap] = [1_800_000, 600_000, 3_000_000, 2_700_000].map(NutrientRate::from_raw);
    let bars = [(under, planned), (under, over), (over, NutrientRate::ZERO)];
    let bars = bars.into_iter().filter_map(|(down, asked)| RoomBar::of(down, asked, Some(&cap))).collect();
    page_without_form(StylePage { bars, calendar: calendar(), hours: hours(), scales: scales(), form: form() }.render())
}
