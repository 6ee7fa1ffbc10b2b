//! Lots: deliveries of a product. Only ever added.

use axum::{extract::State, response::Response};
use domain::ids;

use crate::{
    api,
    extract::PathId,
    pages::{
        form::{Field, Form, FormData},
        office_session::OfficeSession,
        products,
    },
    problem::Problem,
    state::App,
    store::products::Product,
};

fn blank(product: &Product) -> Form {
    let at = format!("/office/products/{}", product.id);
    let fields = vec![
        Field::hidden("/product_id", product.id.to_string()),
        Field::line("/lot_number", "Lot number").help("As printed on the bags."),
        Field::line("/supplier", "Supplier"),
        Field::day("/received_on", "Received on"),
        Field::amount("/received_lb", "All that was delivered, without packages, lb"),
    ];
    Form::new(format!("A delivery of {}", product.name), format!("{at}/lots/new"), "Add the delivery", fields)
        .back(at)
        .note("A delivery is never edited. If the figure was wrong, count the lot: the difference is written.")
}

pub async fn new(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Product>,
) -> Result<Response, Problem> {
    Ok(blank(&products::get(&app, id).await?).once(&app).show())
}

pub async fn add(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Product>,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = blank(&products::get(&app, id).await?).sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::lots::create_lot(desk.office(), State(app.clone()), key, valid).await
    };
    let done = done.await;
    form.made(&app, done, |_| format!("/office/products/{id}"))
}
