//! Visits, as the office plans, changes and closes them.

use axum::{extract::State, response::Response};
use domain::{
    decision::{Finding, Verdict},
    ids::{self, PropertyId, VisitId},
};

use crate::{
    api,
    book::credentials,
    extract::PathId,
    pages::{
        form::{Choice, Field, Form, FormData, choices},
        office::{ALL_ROWS, ROWS, dates},
        office_session::OfficeSession,
    },
    problem::Problem,
    scope::Scope,
    state::App,
    store::{self, products::ProductStatus, visits::Visit},
    version::Versioned,
};

/// What a visit may name: the people, products and sections of the book; the standing ones, even if they are not active any
/// more.
async fn fields(app: &App, property: PropertyId, standing: Option<&Visit>) -> Result<Vec<Field>, Problem> {
    let reader = app.store.reader();
    let people = store::people::list(reader, ALL_ROWS).await?.into_iter().map(|row| row.item);
    let people = people.filter(|one| one.active || standing.is_some_and(|visit| visit.person_id == one.id));
    let products = store::products::list(reader, ALL_ROWS).await?.into_iter().map(|row| row.item);
    let products = products
        .filter(|one| one.status != ProductStatus::Retired || standing.is_some_and(|visit| visit.product_id == one.id));
    let sections = store::sections::list(reader, ROWS, Some(property), Scope::Company).await?;
    let sections: Vec<Choice> =
        sections.into_iter().map(|row| Choice::new(row.item.id.to_string(), row.item.name)).collect();
    let mut where_to = Field::many("/section_ids", "Sections", sections.clone());
    where_to.value = sections.into_iter().map(|choice| choice.value).collect();
    let purposes = choices(&[
        ("maintenance", "feeding an established lawn"),
        ("establishment", "first establishment of turf"),
        ("repair", "repair of turf"),
    ]);
    Ok(vec![
        Field::hidden("/property_id", property.to_string()),
        Field::one("/person_id", "Who goes", people.map(|one| Choice::new(one.id.to_string(), one.name)).collect()),
        Field::day("/planned_on", "On"),
        Field::one("/product_id", "Product", products.map(|one| Choice::new(one.id.to_string(), one.name)).collect()),
        where_to,
        Field::one("/purpose", "Purpose", purposes),
        Field::amount("/target_nitrogen_lb_per_1000_sqft", "Nitrogen, lb per 1,000 sq ft").optional(),
        Field::amount("/target_product_lb_per_1000_sqft", "Or product, lb per 1,000 sq ft")
            .optional()
            .help("Of a product without nitrogen, such as lime or potash. One of the two."),
    ])
}

async fn blank(app: &App, id: PropertyId) -> Result<Form, Problem> {
    let found = store::properties::get(app.store.reader(), id, Scope::Company).await?;
    let property = found.ok_or_else(|| Problem::not_found("property"))?;
    let at = format!("/office/properties/{id}");
    let form = Form::new(
        format!("A visit to {}", property.address),
        format!("{at}/visits/new"),
        "Plan the visit",
        fields(app, id, None).await?,
    );
    Ok(form.back(at).note(
        "Planning permits nothing: what may go down is decided at the lawn, by the law of the day, the label and the weather. The label and the local authority prevail.",
    ))
}

async fn get(app: &App, id: VisitId) -> Result<Visit, Problem> {
    let found = store::visits::get(app.store.reader(), id, Scope::Company).await?;
    found.ok_or_else(|| Problem::not_found("visit"))
}

async fn stored_form(app: &App, visit: &Visit) -> Result<Form, Problem> {
    let mut fields = fields(app, visit.property_id, Some(visit)).await?;
    let ends = choices(&[
        ("planned", "still to be made"),
        ("done", "done"),
        ("not_done", "not done, though somebody was there or on the way"),
        ("cancelled", "cancelled beforehand"),
    ]);
    fields.push(Field::one("/status", "Status", ends).under("How it ended"));
    fields.push(
        Field::lines("/reason", "Why it was not done or was cancelled")
            .optional()
            .help("Fill in only if the visit was not done or was cancelled."),
    );
    let form = Form::new(
        format!("The visit planned on {}", dates(app).await?.day(visit.planned_on)),
        format!("/office/visits/{}", visit.id),
        "Save",
        fields,
    );
    let form = form.filled(visit, visit.version()).back(format!("/office/properties/{}", visit.property_id));
    Ok(against(app, visit).await?.into_iter().fold(form, Form::note))
}

/// What stands against a visit by the certificate of whoever goes, as of now.
async fn against(app: &App, visit: &Visit) -> Result<Vec<String>, Problem> {
    let mut connection = app.store.reader().acquire().await?;
    let told = credentials::told(&mut connection, &app.law(), visit.clone(), app.clock.now()).await?;
    let words = |finding: &Finding| {
        let mark = if finding.verdict == Verdict::Stop { "■" } else { "▲" };
        format!("{mark} {} {}", finding.message, finding.hint)
    };
    Ok(told.certificate.iter().map(words).collect())
}

pub async fn new(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Property>,
) -> Result<Response, Problem> {
    Ok(blank(&app, id).await?.once(&app).show())
}

pub async fn add(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Property>,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = blank(&app, id).await?.sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::visits::create_visit(desk.office(), State(app.clone()), key, valid).await
    };
    let done = done.await;
    // Where something stands against it, the visit says so at once.
    let told = done.as_ref().is_ok_and(|made| made.body.contains("\"certificate\""));
    form.made(
        &app,
        done,
        |made| if told { format!("/office/visits/{made}") } else { format!("/office/properties/{id}") },
    )
}

pub async fn one(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Visit>,
) -> Result<Response, Problem> {
    Ok(stored_form(&app, &get(&app, id).await?).await?.show())
}

pub async fn change(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Visit>,
    sent: FormData,
) -> Result<Response, Problem> {
    let stored = get(&app, id).await?;
    let form = stored_form(&app, &stored).await?.sent(&sent);
    let done = async {
        let (version, valid) = form.asked_change(&app)?;
        api::visits::replace_visit(desk.office(), State(app.clone()), PathId(id), version, valid).await
    };
    let done = done.await;
    let now = stored_form(&app, &get(&app, id).await?).await?;
    let told = done.as_ref().is_ok_and(|changed| !changed.certificate.is_empty());
    let to = if told { format!("/office/visits/{id}") } else { format!("/office/properties/{}", stored.property_id) };
    form.changed(done, &now, &to)
}
