//! The company's year: every section against its caps, by client or by what is left, a page at a time.

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use domain::{actor::Role, law::ReportDue, quantity::NutrientRoom};
use serde::Deserialize;

use super::{YearView, asked, outlook, outlook::RunsPast, rows::SectionRow};
use crate::{
    book::{
        company_year::{self, SectionSum},
        journal::{self, JournalState},
        receipts::{self, Receipt},
    },
    pages::{in_address, office_session::OfficeSession, page},
    problem::Problem,
    state::App,
    store::{self, settings::DateOrder},
};

/// Sections of one page.
const SECTIONS: usize = 100;

/// Which sections are shown, in which order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Show {
    #[default]
    ByClient,
    LeastRoom,
    Attention,
}

impl Show {
    /// Each with its name in an address and on the page.
    const ALL: [(Self, &'static str, &'static str); 3] = [
        (Self::ByClient, "by_client", "By client"),
        (Self::LeastRoom, "least_room", "Least left first"),
        (Self::Attention, "attention", "Needs attention"),
    ];

    fn code(self) -> &'static str {
        Self::ALL.into_iter().find(|(show, ..)| *show == self).map_or("", |(_, code, _)| code)
    }
}

#[derive(Debug, Deserialize)]
pub struct Which {
    year: Option<i16>,
    #[serde(default)]
    show: Show,
    /// A part of a name or an address.
    #[serde(default)]
    q: String,
    /// So many sections come before the first that is shown.
    #[serde(default)]
    after: usize,
}

#[derive(Template)]
#[template(path = "year.html")]
struct YearPage {
    dates: DateOrder,
    year: i16,
    show: Show,
    q: String,
    sections: usize,
    /// Sections over a cap, over that on nitrogen with what is planned, and with nothing left for some products.
    over: usize,
    runs_over: usize,
    used_up: usize,
    runs_past: Vec<RunsPast>,
    /// For the owner alone.
    journal: Option<JournalShown>,
    reports: Vec<ReportDue>,
    /// What must be known of the law behind it.
    notes: Vec<String>,
    /// Sections that fit what is asked for, of which these are shown, from and to.
    found: usize,
    first: usize,
    rows: Vec<SectionRow>,
}

impl YearPage {
    /// Where those after the ones that are shown stand.
    fn next(&self) -> Option<String> {
        let last = self.first + self.rows.len();
        (last < self.found).then(|| self.address(self.show, last))
    }

    /// Where those before the ones that are shown stand.
    fn previous(&self) -> Option<String> {
        (self.first > 0).then(|| self.address(self.show, self.first.saturating_sub(SECTIONS)))
    }

    /// The address of another part of what is asked for.
    fn address(&self, show: Show, after: usize) -> String {
        let (year, show, q) = (self.year, show.code(), in_address(&self.q));
        format!("/year?year={year}&show={show}&q={q}&after={after}")
    }
}

struct JournalShown {
    state: JournalState,
    /// By the company's clock.
    last_at: Option<String>,
    receipt: Receipt,
}

/// Every client and section against its cap, with what is planned.
pub async fn year(
    OfficeSession(actor): OfficeSession,
    State(app): State<App>,
    Query(which): Query<Which>,
) -> Result<Response, Problem> {
    let YearView { year, span, zone, local, dates, .. } = asked(&app, which.year).await?;
    let sums = store::company_year::company_year(app.store.reader(), span).await?;
    let law = app.law();
    let reports = company_year::reports_due(&law, year, &sums);
    let notes = company_year::notes(&app, &law, &sums, (span, &zone)).await?;
    let sums = company_year::company_year(&law, span.told(), sums);
    let runs_past = outlook::runs_past(&sums);
    let journal = if actor.role == Role::Owner {
        let state = journal::state(&app.store).await?;
        let last_at = state.last_at.map(|at| local.minute(at, dates));
        Some(JournalShown { last_at, state, receipt: receipts::now(&app).await? })
    } else {
        None
    };
    let all: Vec<(SectionRow, &SectionSum)> = sums.iter().map(|sum| (SectionRow::of(sum, dates), sum)).collect();
    let count = |is: fn(&SectionRow) -> bool| all.iter().filter(|(row, _)| is(row)).count();
    let (over, runs_over, used_up) = (count(|row| row.over), count(|row| row.runs_over), count(|row| row.used_up));
    let sections = all.len();
    let q = which.q.trim().chars().take(100).collect::<String>();
    let mut chosen = chosen(all, which.show, &q.to_lowercase());
    let (found, first) = (chosen.len(), which.after.min(chosen.len()));
    let rows = chosen.drain(first..found.min(first + SECTIONS)).collect();
    let show = which.show;
    Ok(page(
        YearPage {
            dates,
            year,
            show,
            q,
            sections,
            over,
            runs_over,
            used_up,
            runs_past,
            journal,
            reports,
            notes,
            found,
            first,
            rows,
        }
        .render(),
    ))
}

/// The rows that are asked for, in the order in which they are asked for.
fn chosen(mut all: Vec<(SectionRow, &SectionSum)>, show: Show, typed: &str) -> Vec<SectionRow> {
    all.retain(|(row, _)| row.holds(typed) && (show != Show::Attention || row.needs_attention()));
    if show != Show::ByClient {
        // Where no cap is known nobody knows what is left: that comes behind what is over, and before what has room.
        let left = |sum: &SectionSum| {
            let rooms = sum.of_nitrogen().map(|rooms| rooms.least().remaining_lb_per_1000_sqft);
            rooms.or(sum.remaining_nitrogen_lb_per_1000_sqft).unwrap_or(NutrientRoom::ZERO)
        };
        all.sort_by_key(|(_, sum)| left(sum));
    }
    all.into_iter().map(|(row, _)| row).collect()
}
