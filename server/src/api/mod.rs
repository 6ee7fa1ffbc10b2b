//! One noun a file: request and response types and handlers. They translate and decide nothing.

pub(crate) mod additions;
pub(crate) mod applications;
pub(crate) mod blends;
pub(crate) mod calibrations;
pub(crate) mod checks;
pub(crate) mod clearances;
pub(crate) mod clients;
pub(crate) mod company_year;
pub(crate) mod corrections;
pub(crate) mod credentials;
pub(crate) mod days;
pub(crate) mod devices;
pub(crate) mod divisions;
pub(crate) mod drift;
pub(crate) mod equipment;
pub(crate) mod gaps;
pub(crate) mod history;
pub(crate) mod journal;
pub(crate) mod lots;
pub(crate) mod measurements;
pub(crate) mod metrics;
pub(crate) mod particulars;
pub(crate) mod passes;
pub(crate) mod passwords;
pub(crate) mod people;
pub(crate) mod places;
pub(crate) mod plans;
pub(crate) mod product_files;
pub(crate) mod products;
pub(crate) mod programmes;
pub(crate) mod properties;
pub(crate) mod receipts;
pub(crate) mod reviews;
pub(crate) mod rule_sets;
pub(crate) mod sections;
pub(crate) mod security_log;
pub(crate) mod sessions;
pub(crate) mod settings;
pub(crate) mod sightings;
pub(crate) mod soil_reports;
pub(crate) mod statements;
pub(crate) mod stock;
pub(crate) mod visits;
pub(crate) mod weather;

use domain::{ids::ProductId, time::Day};
use serde::{Deserialize, Serialize};
use utoipa::IntoParams;

use crate::{
    paging::Paged,
    problem::{FieldFault, Kind, Problem},
    routes::Routes,
    state::App,
    store, zone,
};

/// Every route of the API. What is not listed here does not exist.
pub(crate) fn routes() -> Routes {
    Routes::default()
        .merge(sessions::routes())
        .merge(passwords::routes())
        .merge(people::routes())
        .merge(devices::routes())
        .merge(passes::routes())
        .merge(security_log::routes())
        .merge(credentials::routes())
        .merge(clients::routes())
        .merge(places::routes())
        .merge(properties::routes())
        .merge(sections::routes())
        .merge(history::routes())
        .merge(measurements::routes())
        .merge(divisions::routes())
        .merge(sightings::routes())
        .merge(soil_reports::routes())
        .merge(products::routes())
        .merge(product_files::routes())
        .merge(blends::routes())
        .merge(lots::routes())
        .merge(stock::routes())
        .merge(equipment::routes())
        .merge(calibrations::routes())
        .merge(drift::routes())
        .merge(programmes::routes())
        .merge(plans::routes())
        .merge(visits::routes())
        .merge(days::routes())
        .merge(rule_sets::routes())
        .merge(weather::routes())
        .merge(metrics::routes())
        .merge(checks::routes())
        .merge(clearances::routes())
        .merge(applications::routes())
        .merge(particulars::routes())
        .merge(additions::routes())
        .merge(corrections::routes())
        .merge(gaps::routes())
        .merge(reviews::routes())
        .merge(statements::routes())
        .merge(company_year::routes())
        .merge(settings::routes())
        .merge(journal::routes())
        .merge(receipts::routes())
}

/// Narrows nothing.
#[derive(Debug, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct NoFilter {}

/// The query of a list without a filter of its own.
pub type ListQuery = Paged<NoFilter>;

/// Narrows a list to one product.
#[derive(Debug, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ProductFilter {
    /// Only those of this product.
    #[serde(default)]
    pub product_id: Option<ProductId>,
}

pub type ProductQuery = Paged<ProductFilter>;

/// The office's today.
pub(crate) async fn office_day(app: &App) -> Result<Day, Problem> {
    let (_, zone) = company(app).await?;
    Ok(app.clock.now().day_in(&zone::of_company(&zone)?))
}

/// The company's name and the name of its zone. They are written with the first person, so whoever is signed in has one.
pub(crate) async fn company(app: &App) -> Result<(String, String), Problem> {
    let missing = || Problem::new(Kind::Fault, "The book has no company. It is not set up, or not whole.");
    store::people::company(app.store.reader()).await?.ok_or_else(missing)
}

/// The last day that can have been already: the office's today and one more, because a property may lie further east.
async fn last_past_day(app: &App) -> Result<Day, Problem> {
    Ok(office_day(app).await?.plus_days(1))
}

/// The fault of a day that has not been yet, though something is said to have happened on it.
fn not_yet(pointer: &str, day: Day, last: Day) -> Option<FieldFault> {
    let detail = || format!("lies in the future; the latest day that can be written here is {last}");
    (day > last).then(|| FieldFault::at(pointer, "in_the_future", detail()))
}

/// What does not fit in a correction: without a reason, or of what is not there or was corrected before. Told are whether one is named
/// and whether it was found, and what took its place already.
fn correction((named, found): (bool, bool), reason: Option<&str>, taken: Option<String>) -> Vec<FieldFault> {
    let mut faults = Vec::new();
    match (named, reason) {
        (true, None) => faults.push(FieldFault::at("/reason", "missing", "is required with `corrects`")),
        (false, Some(_)) => {
            let detail = "is that of a correction; name in `corrects` what this one takes the place of";
            faults.push(FieldFault::at("/reason", "contradiction", detail));
        }
        _ => {}
    }
    if named && !found {
        faults.push(FieldFault::at("/corrects", "not_found", "names nothing of this section"));
    }
    let before =
        |by| FieldFault::at("/corrects", "contradiction", format!("was corrected before; correct {by} instead"));
    faults.extend(taken.map(before));
    faults
}

/// All faults at once, or none.
fn whole(faults: Vec<FieldFault>) -> Result<(), Problem> {
    if faults.is_empty() { Ok(()) } else { Err(Problem::invalid(faults)) }
}

/// What tells a repeated request apart when the address names a thing beside the body.
fn fingerprint_at(id: impl std::fmt::Display, fingerprint: &str) -> String {
    crate::secret::fingerprint(&serde_json::json!([id.to_string(), fingerprint]))
}
