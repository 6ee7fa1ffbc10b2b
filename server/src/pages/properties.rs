//! Properties: one with its whole history, and the form that enters and corrects it. Where it lies is suggested from the
//! coordinates and confirmed by a person.

mod names;
mod place;

pub use place::zones;

use std::collections::HashMap;

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use domain::{
    ids::{self, ProductId, PropertyId},
    time::Day,
};

use crate::{
    acts::application::ApplicationView,
    api,
    extract::PathId,
    pages::{
        figures::{self, Figure},
        form::{Choice, Field, Form, FormData, also},
        history,
        local::Local,
        office::{ALL_ROWS, Before, NEWEST, ROWS, dates, shown},
        office_session::OfficeSession,
        page,
        year::SoFar,
    },
    problem::Problem,
    scope::Scope,
    state::App,
    store::{
        self,
        clients::Client,
        properties::Property,
        sections::Section,
        settings::DateOrder,
        statements::About,
        visits::{Filter, Visit, VisitStatus},
    },
    version::Versioned,
};

/// The fields that every form of a property has.
fn fields(app: &App, zones: Vec<Choice>) -> Vec<Field> {
    vec![
        Field::line("/name", "Name").help("What the company calls it, such as home lawn."),
        Field::lines("/address", "Address"),
        Field::line("/postal_code", "Postal code"),
        Field::number("/latitude", "Latitude").optional().under("Location").help("Degrees north, such as 38.97. With the longitude."),
        Field::number("/longitude", "Longitude").optional().help("Degrees east, so below zero in the Americas, such as -76.5."),
        Field::one("/time_zone", "Time zone", zones).help("It decides on which day work there counts."),
        Field::one("/kind", "Kind of ground", kinds()).optional().help(
            "Several laws leave golf courses, farms or gardens out, or are about some kinds only. A lawn if not specified; the lawn of a farmhouse is a lawn. Where nobody knows, such rules ask for care.",
        ),
        Field::one("/worked_by", "Who does the work", workers()).optional().help("Several laws bind those who work for hire otherwise than the others."),
        Field::day("/nutrient_plan_on", "Written nutrient plan for the site, made on").optional().help(
            "Some laws ask for such a plan on golf courses, public or large grounds, and some let more through with one.",
        ),
        Field::one("/place/state", "State", names::states()).optional(),
        Field::line("/place/county", "County").optional().help("Such as Anne Arundel, or Baltimore city for a city that belongs to no county."),
        Field::line("/place/municipality", "City or town").optional().help("Such as Annapolis. Only where the lawn lies inside its limits."),
        Field::many("/rule_sets", "Rule sets that bind there", place::rule_sets(app, None)).under("Rule sets").help(
            "A working copy of public law with its day of reading: the label and the local authority prevail. As long as none is confirmed, nothing can be cleared there. A place without a rule set here is not a place without law.",
        ),
        Field::tick(place::CONFIRMED, "I have confirmed where it lies and which of these rule sets bind there"),
        Field::day("/local_rules_checked_on", "County and municipality were asked for rules of their own on").optional(),
    ]
}

fn kinds() -> Vec<Choice> {
    let said = [
        ("lawn", "A lawn of a home or a business"),
        ("athletic_field", "An athletic field"),
        ("golf_course", "A golf course"),
        ("public_ground", "A public ground, such as a town's"),
        ("farm", "A farm"),
        ("garden", "A garden"),
        ("sod_farm", "A sod farm"),
        ("null", "Nobody knows"),
    ];
    said.into_iter().map(|(word, words)| Choice::new(word, words)).collect()
}

fn workers() -> Vec<Choice> {
    let said = [
        ("professional", "This company, for hire"),
        ("own_ground", "The owner's own people, on ground that is no home"),
        ("household", "The household itself"),
    ];
    said.into_iter().map(|(word, words)| Choice::new(word, words)).collect()
}

const LOOK: &str = "Suggest the place from the coordinates";

async fn blank(app: &App, client: &Client) -> Result<Form, Problem> {
    let (_, zone) = store::people::company(app.store.reader()).await?.unwrap_or_default();
    let mut fields = fields(app, place::zones(&zone));
    fields.insert(0, Field::hidden("/client_id", client.id.to_string()));
    let action = format!("/office/clients/{}/properties/new", client.id);
    let title = format!("A new property of {}", client.name);
    let mut form = Form::new(title, action, "Add the property", fields).back(format!("/office/clients/{}", client.id));
    form.look = Some(LOOK);
    Ok(form)
}

async fn stored_form(app: &App, property: &Property) -> Result<Form, Problem> {
    let clients = store::clients::list(app.store.reader(), ALL_ROWS, Scope::Company).await?;
    let clients = clients.into_iter().map(|row| Choice::new(row.item.id.to_string(), row.item.name)).collect();
    let mut fields = fields(app, place::zones(&property.time_zone));
    fields.push(
        Field::one("/client_id", "Client", clients)
            .under("Client")
            .help("When it becomes another client's, statements of earlier years stay with the client of those years."),
    );
    fields.push(history::since());
    let id = property.id;
    let title = format!("Change {}", property.address);
    let mut form = Form::new(title, format!("/office/properties/{id}/edit"), "Save", fields)
        .filled(property, property.version())
        .back(format!("/office/properties/{id}"));
    form.look = Some(LOOK);
    place::order(app, &mut form);
    names::show(&mut form);
    Ok(form)
}

/// The fields of a property of which entries speak.
pub async fn correctable(app: &App, property: &Property) -> Result<Vec<Field>, Problem> {
    let form = stored_form(app, property).await?;
    let dated = |field: &Field| field.name.starts_with('/') && field.name != "/since";
    // An entry is corrected word for word, as it stands in the journal.
    let as_kept = |field: Field| match field.name.as_str() {
        "/place/county" => Field::line(&field.name, "County, as a code").optional().help("Such as us-md-anne-arundel."),
        "/place/municipality" => {
            Field::line(&field.name, "City or town, as a code").optional().help("Such as us-md-annapolis.")
        }
        _ => Field { value: Vec::new(), ..field },
    };
    Ok(form.fields.into_iter().filter(dated).map(as_kept).collect())
}

/// A property of the book.
pub async fn get(app: &App, id: PropertyId) -> Result<Property, Problem> {
    let found = store::properties::get(app.store.reader(), id, Scope::Company).await?;
    found.ok_or_else(|| Problem::not_found("property"))
}

async fn client_of(app: &App, id: ids::ClientId) -> Result<Client, Problem> {
    let found = store::clients::get(app.store.reader(), id, Scope::Company).await?;
    found.ok_or_else(|| Problem::not_found("client"))
}

pub async fn new(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Client>,
) -> Result<Response, Problem> {
    Ok(blank(&app, &client_of(&app, id).await?).await?.once(&app).show())
}

pub async fn add(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Client>,
    sent: FormData,
) -> Result<Response, Problem> {
    let mut form = blank(&app, &client_of(&app, id).await?).await?.sent(&sent);
    if sent.one("look").is_some() {
        place::suggest(&app, &mut form).await?;
        return Ok(form.show());
    }
    place::order(&app, &mut form);
    let done = async {
        let asked = names::valid(&form, &app).and_then(|valid| Ok((form.key()?, valid)));
        let (key, valid) = also(asked, place::confirmed(&form, &[]))?;
        api::properties::create_property(desk.office(), State(app.clone()), key, valid).await
    };
    let done = done.await;
    form.made(&app, done, |id| format!("/office/properties/{id}"))
}

pub async fn edit(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Property>,
) -> Result<Response, Problem> {
    Ok(stored_form(&app, &get(&app, id).await?).await?.show())
}

pub async fn change(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Property>,
    sent: FormData,
) -> Result<Response, Problem> {
    let stored = get(&app, id).await?;
    let mut form = stored_form(&app, &stored).await?.sent(&sent);
    if sent.one("look").is_some() {
        place::suggest(&app, &mut form).await?;
        return Ok(form.show());
    }
    place::order(&app, &mut form);
    let done = async {
        let asked = names::valid(&form, &app).and_then(|valid| Ok((form.if_match()?, valid)));
        let (version, valid) = also(asked, place::confirmed(&form, &stored.rule_sets))?;
        api::properties::replace_property(desk.office(), State(app.clone()), PathId(id), version, valid).await
    };
    let done = done.await;
    let now = stored_form(&app, &get(&app, id).await?).await?;
    form.changed(done, &now, &format!("/office/properties/{id}"))
}

#[derive(Template)]
#[template(path = "property.html")]
struct PropertyPage {
    dates: DateOrder,
    property: Property,
    client: Client,
    sections: Vec<Section>,
    /// Each with the name of the product, the newest first.
    applications: Vec<(ApplicationView, String)>,
    /// The last number of the applications that are shown, if there are older ones.
    older: Option<i64>,
    /// These are not the newest ones.
    newer: bool,
    visits: Vec<Visit>,
    today: Day,
    clock_fault: Option<String>,
    /// The rule sets by name, each with the day on which it was read.
    sets: Vec<(String, Option<String>)>,
    so_far: SoFar,
}

/// A property with its sections, its visits and everything that was put down.
pub async fn one(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Property>,
    Query(before): Query<Before>,
) -> Result<Response, Problem> {
    let (reader, scope) = (app.store.reader(), Scope::Company);
    let property = get(&app, id).await?;
    let client = client_of(&app, property.client_id).await?;
    let sections = store::sections::list(reader, ROWS, Some(id), scope).await?;
    let filter = store::applications::Filter { property: Some(id.to_string()), ..Default::default() };
    let (rows, older) = shown(store::applications::list(reader, before.span(), filter, scope).await?, NEWEST.take);
    let products = store::products::list(reader, ALL_ROWS).await?.into_iter();
    let products: HashMap<ProductId, String> = products.map(|row| (row.item.id, row.item.name)).collect();
    let named = |one: ApplicationView| (products.get(&one.product_id).cloned().unwrap_or_default(), one);
    let applications = rows.into_iter().map(named).map(|(product, one)| (one, product)).collect();
    let visits =
        store::visits::list(reader, ALL_ROWS, Filter { property: Some(id), ..Filter::default() }, scope).await?;
    let dates = dates(&app).await?;
    let local = Local::of(&property.time_zone);
    let law = app.law();
    let read = |code: &str| {
        let about = law.rule_set(code).map(|set| &set.about);
        (
            about.map_or_else(|| code.to_owned(), |about| about.name.clone()),
            about.map(|about| dates.day(about.last_checked)),
        )
    };
    let visits: Vec<Visit> = visits.into_iter().map(|row| row.item).collect();
    let today = local.day(app.clock.now());
    let page_of = PropertyPage {
        dates,
        so_far: SoFar::of(&app, About::Property(id)).await,
        client,
        sections: sections.into_iter().map(|row| row.item).collect(),
        applications,
        older,
        newer: before.is_some(),
        today,
        visits,
        clock_fault: local.fault(),
        sets: property.rule_sets.iter().map(|code| read(&code.0)).collect(),
        property,
    };
    Ok(page(page_of.render()))
}

impl PropertyPage {
    fn open_visits(&self) -> Vec<&Visit> {
        let mut open: Vec<&Visit> = self.visits.iter().filter(|visit| visit.status == VisitStatus::Planned).collect();
        open.sort_by_key(|visit| visit.planned_on);
        open
    }

    /// Pounds of product in all.
    fn pounds(application: &ApplicationView) -> Figure {
        let all = application.lines.iter().map(|line| line.product_lb.raw()).sum();
        figures::pounds(&domain::quantity::ProductMass::from_raw(all))
    }
}
