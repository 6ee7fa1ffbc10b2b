//! Every element of the pages once, with invented figures.

use askama::Template;
use axum::response::Response;
use domain::quantity::NutrientRate;

use crate::{
    access::Anyone,
    pages::{
        form::{Field, Form, choices},
        page_without_form,
        pictures::room::RoomBar,
    },
};

#[derive(Template)]
#[template(path = "help_style.html")]
struct StylePage {
    bars: Vec<RoomBar>,
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

pub async fn page(_: Anyone) -> Response {
    // Millionths of a pound on 1,000 square feet.
    let [under, planned, over, cap] = [1_800_000, 600_000, 3_000_000, 2_700_000].map(NutrientRate::from_raw);
    let bars = [(under, planned), (under, over), (over, NutrientRate::ZERO)];
    let bars = bars.into_iter().filter_map(|(down, asked)| RoomBar::of(down, asked, Some(&cap))).collect();
    page_without_form(StylePage { bars, form: form() }.render())
}
