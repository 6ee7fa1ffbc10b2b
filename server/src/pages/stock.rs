//! Stock that was counted, went back, was spilled or disposed of.

use axum::{extract::State, response::Response};
use domain::ids;

use crate::{
    api,
    extract::PathId,
    pages::{
        form::{Choice, Field, Form, FormData, choices},
        office::ROWS,
        office_session::OfficeSession,
        products,
    },
    problem::Problem,
    state::App,
    store::{self, products::Product},
};

async fn blank(app: &App, product: &Product) -> Result<Form, Problem> {
    let at = format!("/office/products/{}", product.id);
    let lots = store::lots::list(app.store.reader(), ROWS, Some(product.id)).await?.into_iter().map(|row| row.item);
    let lots = lots
        .map(|lot| Choice::new(lot.id.to_string(), format!("{}, {} lb in stock", lot.lot_number, lot.balance_lb)))
        .collect();
    let kinds = choices(&[
        ("counted", "counted or weighed"),
        ("returned", "sent back to the supplier"),
        ("spilled", "spilled, and not put to use"),
        ("disposed", "disposed of"),
    ]);
    let fields = vec![
        Field::hidden("/product_id", product.id.to_string()),
        Field::one("/kind", "What happened", kinds),
        Field::one("/lot_id", "Lot", lots).optional().help("A count with a lot counts that lot alone."),
        Field::amount("/counted_lb", "What is there now, lb")
            .optional()
            .help("Fill in only for a count. Count after the phones have sent the day's records."),
        Field::amount("/mass_lb", "What went out, lb").optional().help("For everything but a count."),
        Field::day("/moved_on", "On"),
        Field::lines("/reason", "Why, or who counted"),
    ];
    let title = format!("Count or move {}", product.name);
    let form = Form::new(title, format!("{at}/stock/new"), "Save", fields).back(at);
    Ok(form.note(format!(
        "The records show {} lb in stock. Sweep spills up at once and keep them out of drains.",
        product.balance_lb
    )))
}

pub async fn new(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Product>,
) -> Result<Response, Problem> {
    Ok(blank(&app, &products::get(&app, id).await?).await?.once(&app).show())
}

pub async fn add(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Product>,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = blank(&app, &products::get(&app, id).await?).await?.sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::stock::record_stock_movement(desk.office(), State(app.clone()), key, valid).await
    };
    let done = done.await;
    form.made(&app, done, |_| format!("/office/products/{id}"))
}
