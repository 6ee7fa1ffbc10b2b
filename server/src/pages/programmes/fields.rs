//! The fields of a programme: its own, and rows of rounds, products and needs with a few empty ones to write into.

use domain::{equipment::Equipment, programme::schedules::PUBLISHED};

use crate::{
    pages::{
        form::{Choice, Field, FormData, choices},
        office::ALL_ROWS,
        sections::species,
        soil_reports::read::{caps, split_rules},
    },
    problem::Problem,
    state::App,
    store::{
        self,
        products::ProductStatus,
        programmes::{
            Programme, ProgrammeNeed,
            lawns::{Lawns, lawns},
        },
    },
};

/// How many rows a list shows. A need of one section alone names it.
#[derive(Debug)]
pub struct Rows {
    rounds: usize,
    products: usize,
    technicians: usize,
    pub needs: Vec<Option<String>>,
}

/// Rounds and products of a programme at most, as the API takes them; and needs on a page.
const MOST: usize = 10;
const TECHNICIANS: usize = 20;
const MOST_NEEDS: usize = 200;

impl Rows {
    /// As many as are stored and some to write into, or as many as were sent. `own` is a section that gets a need of its own.
    pub fn of(stored: Option<&Programme>, sent: Option<&FormData>, own: Option<domain::ids::SectionId>) -> Self {
        let stored_needs = stored.map(|programme| programme.needs.as_slice()).unwrap_or_default();
        let named = |need: &ProgrammeNeed| need.section_id.map(|id| id.to_string());
        if let Some(sent) = sent {
            let sent = sent.closed_up();
            // Never fewer than are stored: what somebody else added meanwhile must be seen beside it.
            let rows = |list: &str, stored: usize, most| sent.rows(list).max(stored).min(most);
            let own = |row| {
                if row < sent.rows("/needs/") {
                    sent.one(&format!("/needs/{row}/section_id")).filter(|id| !id.is_empty())
                } else {
                    stored_needs.get(row).and_then(named)
                }
            };
            return Self {
                rounds: rows("/rounds/", stored.map_or(0, |programme| programme.rounds.len()), MOST),
                products: rows("/products/", stored.map_or(0, |programme| programme.products.len()), MOST),
                technicians: rows(
                    "/technicians/",
                    stored.map_or(0, |programme| programme.technicians.len()),
                    TECHNICIANS,
                ),
                needs: (0..rows("/needs/", stored_needs.len(), MOST_NEEDS)).map(own).collect(),
            };
        }
        let known = |count: usize, least: usize| (count + 2).max(least).min(MOST);
        let mut needs: Vec<Option<String>> = stored_needs.iter().map(named).collect();
        needs.extend(own.map(|id| Some(id.to_string())));
        needs.extend([None, None]);
        needs.truncate(MOST_NEEDS);
        Self {
            rounds: known(stored.map_or(0, |programme| programme.rounds.len()), 4),
            products: known(stored.map_or(0, |programme| programme.products.len()), 3),
            technicians: (stored.map_or(0, |programme| programme.technicians.len()) + 2).min(TECHNICIANS),
            needs,
        }
    }
}

pub async fn fields(app: &App, rows: &Rows, stored: Option<&Programme>) -> Result<Vec<Field>, Problem> {
    let uses = [
        ("rotary_spreader", Equipment::RotarySpreader),
        ("rotary_spreader_with_deflector", Equipment::RotarySpreaderWithDeflector),
        ("drop_spreader", Equipment::DropSpreader),
        ("broadcast_sprayer", Equipment::BroadcastSprayer),
        ("targeted_sprayer", Equipment::TargetedSprayer),
    ];
    let uses = uses.iter().map(|(value, one)| Choice::new(*value, one.label())).collect();
    let mut fields = vec![
        Field::line("/name", "Name").help("Such as Cool-season lawns."),
        Field::number("/season_year", "Year of the season"),
        Field::one("/equipment", "Planned equipment", uses).help("Setbacks from water are checked against it."),
        Field::amount("/least_product_lb_per_1000_sqft", "Least product worth a pass, lb per 1,000 sq ft"),
    ];
    fields.extend((0..rows.rounds).flat_map(round));
    let products = products(app, stored).await?;
    fields.extend((0..rows.products).flat_map(|row| product(row, &products)));
    let sections = sections(app, rows).await?;
    for (row, own) in rows.needs.iter().enumerate() {
        let section = own.as_ref().map(|id| sections.iter().find(|choice| choice.value == *id).cloned());
        fields.extend(need(
            row,
            section.map(|known| {
                known.unwrap_or_else(|| Choice::new(own.clone().unwrap_or_default(), "a section that is not on record"))
            }),
        ));
    }
    fields.push(
        Field::amount("/credits/clippings_percent", "Nitrogen that clippings spare where they are left, %")
            .optional()
            .under("What clippings and shade spare")
            .help("Both or neither; without them a fourth for clippings and half for shade, as published."),
    );
    fields.push(Field::amount("/credits/shade_percent", "Nitrogen that shade spares, %").optional());
    fields.extend(lime());
    let people = people(app, stored).await?;
    fields.extend((0..rows.technicians).flat_map(|row| technician(row, &people)));
    Ok(fields)
}

/// Staff who may go: those who are active, and those whom the programme names already.
async fn people(app: &App, stored: Option<&Programme>) -> Result<Vec<Choice>, Problem> {
    let named = |id| stored.is_some_and(|programme| programme.technicians.iter().any(|one| one.person_id == id));
    let rows = store::people::list(app.store.reader(), ALL_ROWS).await?.into_iter().map(|row| row.item);
    let rows = rows.filter(|one| one.active || named(one.id));
    Ok(rows.map(|one| Choice::new(one.id.to_string(), one.name)).collect())
}

/// Somebody who goes, and what a day holds.
fn technician(row: usize, people: &[Choice]) -> [Field; 3] {
    let at = |member: &str| format!("/technicians/{row}/{member}");
    let label = |words: &str| format!("Technician {}: {words}", row + 1);
    let first = |words: &'static str| if row == 0 { words } else { "" };
    [
        Field::one(&at("person_id"), &label("who goes"), people.to_vec())
            .optional()
            .under(format!("Technician {}", row + 1))
            .help(first(
                "The plan spreads the stops over the days of those who are named here. Empty ones are left out.",
            )),
        Field::number(&at("stops_per_day"), &label("stops a day at most"))
            .optional()
            .help(first("No limit, if it is empty.")),
        Field::amount(&at("area_sqft_per_day"), &label("ground a day at most, sq ft"))
            .optional()
            .help(first("No limit, if it is empty.")),
    ]
}

/// How the lime of the soil reports is planned.
fn lime() -> [Field; 4] {
    [
        Field::one("/lime/split_rule", "Lime: split by the rule of", split_rules())
            .optional()
            .under("Lime that soil reports ask for")
            .help("The report's own laboratory, if nothing is chosen and its rule was read. The liming material is one of the products above."),
        Field::one("/lime/cap_on", "Lime: the most at once is held against", caps()).optional(),
        Field::amount("/lime/goal_ph", "Lime: target pH")
            .optional()
            .help("Where the lime is to be worked out from the acidity of a report that recommends none itself."),
        Field::number("/lime/days_from_nitrogen", "Lime: days between lime and nitrogen")
            .optional()
            .help("Both may go down on one day, if it is empty or 0. Two weeks are common practice; no source was read."),
    ]
}

fn round(row: usize) -> [Field; 4] {
    let at = |member: &str| format!("/rounds/{row}/{member}");
    let first = |words: &'static str| if row == 0 { words } else { "" };
    [
        Field::line(&at("name"), &format!("Round {}: name", row + 1))
            .under(format!("Round {}", row + 1))
            .help(first("Such as early autumn. Empty rounds are left out; more rows appear once these are saved.")),
        Field::day(&at("from"), &format!("Round {}: from", row + 1)),
        Field::day(&at("to"), &format!("Round {}: to", row + 1)),
        Field::amount(
            &at("nitrogen_at_most_lb_per_1000_sqft"),
            &format!("Round {}: most nitrogen, lb per 1,000 sq ft", row + 1),
        )
        .optional()
        .help(first("The company's own limit, below whatever the law allows.")),
    ]
}

/// Products that a programme may name: those that may be used, and those that it names already.
async fn products(app: &App, stored: Option<&Programme>) -> Result<Vec<Choice>, Problem> {
    let named = |id| stored.is_some_and(|programme| programme.products.iter().any(|one| one.product_id == id));
    let rows = store::products::list(app.store.reader(), ALL_ROWS).await?.into_iter().map(|row| row.item);
    let rows = rows.filter(|one| one.status != ProductStatus::Retired || named(one.id));
    Ok(rows.map(|one| Choice::new(one.id.to_string(), one.name)).collect())
}

fn product(row: usize, products: &[Choice]) -> [Field; 3] {
    let at = |member: &str| format!("/products/{row}/{member}");
    [
        Field::one(&at("product_id"), &format!("Product {}", row + 1), products.to_vec())
            .under(format!("Product {}", row + 1)),
        Field::amount(&at("bag_price_usd"), &format!("Product {}: price of one bag or jug, USD", row + 1))
            .help("Used to find the lowest cost."),
        Field::yes_or_no(&at("may_buy"), &format!("Product {}: may more than the stock be used", row + 1)),
    ]
}

/// The sections that have a need of their own, by name.
async fn sections(app: &App, rows: &Rows) -> Result<Vec<Choice>, Problem> {
    let named: Vec<_> = rows.needs.iter().flatten().filter_map(|id| id.parse().ok()).collect();
    if named.is_empty() {
        return Ok(Vec::new());
    }
    let found = lawns(app.store.reader(), Lawns::These(named), ALL_ROWS.take).await?;
    let words = |name: &str, address: &str| format!("{name}, {address}");
    Ok(found
        .iter()
        .map(|one| Choice::new(one.section_id.to_string(), words(&one.section_name, &one.address)))
        .collect())
}

/// A need: of one section alone, or of the lawns of a turf and a level.
fn need(row: usize, section: Option<Choice>) -> Vec<Field> {
    let at = |member: &str| format!("/needs/{row}/{member}");
    let label = |words: &str| format!("Need {}: {words}", row + 1);
    let heading = format!("Need {}", row + 1);
    let mut fields = match section {
        Some(section) => vec![
            Field::one(&at("section_id"), &label("of this section alone"), vec![section])
                .optional()
                .under(heading)
                .help("To take it out, choose nothing here and empty what follows."),
        ],
        None => vec![
            Field::one(&at("species"), &label("of the lawns of this turf"), species())
                .optional()
                .under(heading)
                .help("Without turf and level it is for every lawn that no other need names. A section gets a need of its own from its plan."),
            Field::one(
                &at("maintenance"),
                &label("of the lawns of this level"),
                choices(&[("low", "low"), ("medium", "medium"), ("high", "high")]),
            )
            .optional(),
        ],
    };
    let published = PUBLISHED.iter().map(|one| Choice::new(one.name, one.name)).collect();
    fields.extend([
        Field::one(&at("published"), &label("nitrogen by a published program"), published)
            .optional()
            .help("By the level of each section. This, or a figure with what it rests on."),
        Field::amount(&at("nitrogen_lb_per_1000_sqft"), &label("or nitrogen of the year, lb per 1,000 sq ft"))
            .optional(),
        Field::amount(&at("phosphate_lb_per_1000_sqft"), &label("P2O5 of the year, lb per 1,000 sq ft"))
            .optional()
            .help("Where no soil report recommends any."),
        Field::amount(&at("potash_lb_per_1000_sqft"), &label("K2O of the year, lb per 1,000 sq ft")).optional(),
        Field::line(&at("because"), &label("source of the figures")).optional().help("Needed with a figure."),
    ]);
    fields
}
