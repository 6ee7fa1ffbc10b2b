//! The office's first page: what needs attention today.

use askama::Template;
use axum::{extract::State, response::Response};
use serde::Deserialize;

use crate::{
    pages::{
        attention::{self, Group},
        local::Local,
        office_session::OfficeSession,
        page,
    },
    paging::{PageRequest, Sequenced},
    problem::Problem,
    state::App,
    store::{self, first_steps::Entered, settings::DateOrder},
};

/// Rows of one list on a page at most; the API has the rest.
pub const ROWS: PageRequest = PageRequest { after: 0, take: 1000 };
/// Where nothing may be left out because it is judged, matched or chosen from.
pub const ALL_ROWS: PageRequest = PageRequest { after: 0, take: 100_000 };
pub const NEWEST: PageRequest = PageRequest { after: i64::MAX, take: 200 };

/// What a page shows of a list, and the number after which the rest begins, if one row more than that was found.
pub fn shown<T>(mut rows: Vec<Sequenced<T>>, most: i64) -> (Vec<T>, Option<i64>) {
    let most = usize::try_from(most).unwrap_or(usize::MAX);
    let more = rows.len() > most;
    rows.truncate(most);
    let last = rows.last().map(|row| row.seq).filter(|_| more);
    (rows.into_iter().map(|row| row.item).collect(), last)
}

/// Where a list is to begin: after the row with this number.
#[derive(Debug, Deserialize)]
pub struct After {
    after: Option<i64>,
}

impl After {
    /// The rows of a page, and one more to see whether there is more.
    pub fn span(&self) -> PageRequest {
        PageRequest { after: self.after.unwrap_or(ROWS.after), take: ROWS.take + 1 }
    }
}

/// Where a list whose newest come first is to go on: before the row with this number.
#[derive(Debug, Deserialize)]
pub struct Before {
    before: Option<i64>,
}

impl Before {
    /// The rows of a page, and one more to see whether there is more.
    pub fn span(&self) -> PageRequest {
        PageRequest { after: self.before.unwrap_or(NEWEST.after), take: NEWEST.take + 1 }
    }

    pub fn is_some(&self) -> bool {
        self.before.is_some()
    }
}

#[derive(Template)]
#[template(path = "office.html")]
struct Today {
    company: String,
    /// By the company's clock, as a person says it.
    day: String,
    /// Of a company that has no record yet.
    steps: Vec<FirstStep>,
    groups: Vec<Group>,
    /// How old the newest copy is, where the server makes any.
    copies: Option<String>,
}

/// One thing that a new company enters, in the order in which one builds on the other.
struct FirstStep {
    is_done: bool,
    words: &'static str,
    href: &'static str,
}

/// The way to the first record; nothing once there is one.
fn first_steps(entered: Entered) -> Vec<FirstStep> {
    if entered.record {
        return Vec::new();
    }
    let steps = [
        (entered.technician, "Add a technician", "/office/people/new"),
        (entered.product, "Copy a product from its label, and enter a delivery", "/office/products/new"),
        (entered.client, "Add a client, then the property under the client", "/office/clients/new"),
        (entered.rule_sets, "Confirm the rule sets of the property", "/office/clients"),
        (entered.measured_section, "Add a lawn section of the property, and measure it", "/office/clients"),
        (entered.soil_report, "Enter the section's soil report, if there is one", "/office/clients"),
        (entered.visit, "Plan the first visit, at the property", "/office/clients"),
        (entered.phone, "Connect the technician's phone", "/office/people"),
    ];
    steps.into_iter().map(|(is_done, words, href)| FirstStep { is_done, words, href }).collect()
}

impl Today {
    fn steps_done(&self) -> usize {
        self.steps.iter().filter(|step| step.is_done).count()
    }
}

/// What needs attention.
pub async fn today(_: OfficeSession, State(app): State<App>) -> Result<Response, Problem> {
    let (company, zone) = store::people::company(app.store.reader()).await?.unwrap_or_default();
    let dates = dates(&app).await?;
    let groups = attention::today(&app, &zone, dates).await?;
    let day = dates.day(Local::of(&zone).day(app.clock.now()));
    let steps = first_steps(store::first_steps::entered(app.store.reader()).await?);
    let copies = attention::newest_copy(&app, &zone, dates);
    Ok(page(Today { company, day, steps, groups, copies }.render()))
}

/// How the company writes a day.
pub async fn dates(app: &App) -> Result<DateOrder, Problem> {
    Ok(store::settings::get(app.store.reader()).await?.date_order)
}
