//! Products: a label copied from the bag, its stock, and whether it may be used.

mod label;

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use domain::{
    ids::{self, ProductId},
    quantity::StockBalance,
    time::Day,
};

use crate::{
    api,
    extract::PathId,
    pages::{
        form::{Field, Form, FormData, choices},
        listing::{Column, Layout, ListQuery, Listed, SortKey},
        local::Local,
        office::{ALL_ROWS, Before, NEWEST, ROWS, dates, shown},
        office_session::OfficeSession,
        page,
        pictures::stock::StockLine,
    },
    problem::Problem,
    state::App,
    store::{
        self,
        lots::Lot,
        product_files::ProductFile,
        products::{Product, ProductStatus},
        settings::DateOrder,
        stock::StockMovement,
    },
    version::Versioned,
};

fn blank() -> Form {
    Form::new("A new product", "/office/products/new", "Add the product", label::fields())
        .back("/office/products")
        .note("Copied from the label, which prevails over everything here. What a label guarantees cannot be changed afterwards: another label is another product.")
}

/// A product of the book.
pub async fn get(app: &App, id: ProductId) -> Result<Product, Problem> {
    let found = store::products::get(app.store.reader(), id).await?;
    found.ok_or_else(|| Problem::not_found("product"))
}

#[derive(Template)]
#[template(path = "products.html")]
struct Products {
    listed: Listed<Product>,
}

const LAYOUT: Layout<Product> = Layout {
    path: "/office/products",
    columns: &[
        Column { code: "name", words: "Product", is_number: false, key: |product| SortKey::text(&product.name) },
        Column { code: "grade", words: "Grade", is_number: false, key: |product| SortKey::text(&product.grade) },
        Column {
            code: "stock",
            words: "lb in stock",
            is_number: true,
            key: |product| SortKey::Number(product.balance_lb.raw()),
        },
        Column {
            code: "status",
            words: "May be used",
            is_number: false,
            key: |product| SortKey::text(product.status.label()),
        },
    ],
    kinds: &[
        ("active", "in use", |product| product.status == ProductStatus::Active),
        ("others", "not in use", |product| product.status != ProductStatus::Active),
        ("stock", "in stock", |product| product.balance_lb.raw() > 0),
    ],
    texts: |product| vec![&product.name, &product.grade],
};

/// All products with their stock, or those that are asked for.
pub async fn list(
    _: OfficeSession,
    State(app): State<App>,
    Query(asked): Query<ListQuery>,
) -> Result<Response, Problem> {
    let rows = store::products::list(app.store.reader(), ALL_ROWS).await?;
    Ok(page(Products { listed: Listed::of(&LAYOUT, asked, rows.into_iter().map(|row| row.item).collect()) }.render()))
}

pub async fn new(_: OfficeSession, State(app): State<App>) -> Response {
    blank().once(&app).show()
}

pub async fn add(desk: OfficeSession, State(app): State<App>, sent: FormData) -> Result<Response, Problem> {
    let form = blank().sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::products::create_product(desk.office(), State(app.clone()), key, valid).await
    };
    let done = done.await;
    form.made(&app, done, |id| format!("/office/products/{id}"))
}

#[derive(Template)]
#[template(path = "product.html")]
struct ProductPage {
    dates: DateOrder,
    product: Product,
    lots: Vec<Lot>,
    movements: Vec<MovementLine>,
    files: Vec<ProductFile>,
    /// What was in stock, day by day.
    line: Option<StockLine>,
    /// The last number of the movements that are shown, if there are older ones.
    older: Option<i64>,
}

/// Movements of one day that are alike.
struct MovementLine {
    day: Day,
    what: &'static str,
    mass_lb: StockBalance,
    /// So many of them.
    count: usize,
    reason: Option<String>,
}

/// What went onto lawns on one day stands in one line; what somebody gave a reason for stands alone.
fn lines(movements: &[StockMovement]) -> Vec<MovementLine> {
    let mut lines: Vec<MovementLine> = Vec::new();
    for one in movements {
        let (day, what, reason) = (one.moved_on, one.kind.label(), one.reason.clone());
        match lines.last_mut() {
            Some(last) if last.day == day && last.what == what && last.reason.is_none() && reason.is_none() => {
                last.mass_lb = StockBalance::from_raw(last.mass_lb.raw() + one.mass_lb.raw());
                last.count += 1;
            }
            _ => lines.push(MovementLine { day, what, mass_lb: one.mass_lb, count: 1, reason }),
        }
    }
    lines
}

/// A product with its lots and what moved.
pub async fn one(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Product>,
    Query(before): Query<Before>,
) -> Result<Response, Problem> {
    let product = get(&app, id).await?;
    let lots = store::lots::list(app.store.reader(), ROWS, Some(id)).await?;
    let files = store::product_files::list(app.store.reader(), ROWS, id).await?;
    let movements = store::stock::list(app.store.reader(), before.span(), Some(id)).await?;
    let (movements, older) = shown(movements, NEWEST.take);
    let lots = lots.into_iter().map(|row| row.item).collect();
    let files = files.into_iter().map(|row| row.item).collect();
    let dates = dates(&app).await?;
    let (_, zone) = api::company(&app).await?;
    let today = Local::of(&zone).day(app.clock.now());
    // Older movements alone do not lead to what is there now.
    let line = if before.is_some() { None } else { StockLine::of(&movements, product.balance_lb, today, dates) };
    let movements = lines(&movements);
    Ok(page(ProductPage { dates, product, lots, movements, files, line, older }.render()))
}

fn status_form(product: &Product) -> Form {
    let at = format!("/office/products/{}", product.id);
    let states = choices(&[
        ("active", "in use"),
        ("hold", "on hold, until somebody says so"),
        ("retired", "retired, not to be used any more"),
    ]);
    let fields = vec![Field::one("/status", "Whether it may be used", states)];
    Form::new(format!("Whether {} may be used", product.name), format!("{at}/status"), "Save", fields)
        .filled(product, product.version())
        .back(at)
}

pub async fn status(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Product>,
) -> Result<Response, Problem> {
    Ok(status_form(&get(&app, id).await?).show())
}

pub async fn set_status(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Product>,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = status_form(&get(&app, id).await?).sent(&sent);
    let done = async {
        let (version, valid) = form.asked_change(&app)?;
        api::products::replace_product_status(desk.office(), State(app.clone()), PathId(id), version, valid).await
    };
    let done = done.await;
    form.changed(done, &status_form(&get(&app, id).await?), &format!("/office/products/{id}"))
}
