//! The office's first page: what needs attention today, and finding a lawn.

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use serde::Deserialize;

use crate::{
    pages::{
        attention::{self, Group},
        office_session::OfficeSession,
        page,
    },
    paging::{PageRequest, Sequenced},
    problem::Problem,
    state::App,
    store::{self, search::Found, settings::DateOrder},
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

#[derive(Debug, Deserialize)]
pub struct Search {
    q: Option<String>,
}

#[derive(Template)]
#[template(path = "office.html")]
struct Today {
    company: String,
    q: String,
    searched: bool,
    found: Vec<Found>,
    /// There may be more than are shown.
    more: bool,
    groups: Vec<Group>,
    /// How old the newest copy is, where the server makes any.
    copies: Option<String>,
    owner: bool,
}

/// What needs attention, and the search.
pub async fn today(
    desk: OfficeSession,
    State(app): State<App>,
    Query(search): Query<Search>,
) -> Result<Response, Problem> {
    let reader = app.store.reader();
    let q = search.q.unwrap_or_default().trim().chars().take(100).collect::<String>();
    let found = if q.is_empty() { Vec::new() } else { store::search::properties(reader, &q).await? };
    let (company, zone) = store::people::company(reader).await?.unwrap_or_default();
    let dates = dates(&app).await?;
    let groups = attention::today(&app, &zone, dates).await?;
    Ok(page(
        Today {
            company,
            searched: !q.is_empty(),
            q,
            more: i64::try_from(found.len()).is_ok_and(|count| count >= store::search::MOST),
            found,
            groups,
            copies: attention::newest_copy(&app, &zone, dates),
            owner: desk.is_owner(),
        }
        .render(),
    ))
}

/// How the company writes a day.
pub async fn dates(app: &App) -> Result<DateOrder, Problem> {
    Ok(store::settings::get(app.store.reader()).await?.date_order)
}
