//! The owner's year: every section against its cap, and a client's statement.

mod company;
mod outlook;
mod rows;
mod so_far;

pub use company::year;
pub use so_far::SoFar;

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use domain::{
    ids,
    law::year::YearCap,
    quantity::NutrientRate,
    statement::caps::{CapRooms, StricterYear, YearRoom},
    time::Day,
};
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::{
    api,
    book::{
        gaps, receipts,
        statement::{self, LawThen, Preparation, SectionStatement, Statement},
    },
    extract::PathId,
    pages::{
        figures::{self, Figure},
        local::Local,
        office::dates,
        office_session::PaperSession,
        page,
        pictures::{room::RoomBar, steps::YearSteps},
    },
    problem::{FieldFault, Problem},
    state::App,
    store::{
        self,
        settings::DateOrder,
        statements::{About, Span},
    },
    zone,
};

#[derive(Debug, Deserialize)]
pub struct Which {
    year: Option<i16>,
}

/// The year that is asked for, and how the company reads it.
struct YearView {
    year: i16,
    span: Span,
    zone: TimeZone,
    company: String,
    /// The company's clock.
    local: Local,
    dates: DateOrder,
}

async fn asked(app: &App, year: Option<i16>) -> Result<YearView, Problem> {
    let (company, zone) = api::company(app).await?;
    let local = Local::of(&zone);
    // The year's caps and gaps go by today, so it is known or the page is not made.
    let zone = zone::of_company(&zone)?;
    let today = app.clock.now().day_in(&zone);
    let year = year.unwrap_or(today.year());
    let from = Day::new(year, 1, 1).map_err(|_| {
        Problem::invalid(vec![FieldFault::parameter("year", "out_of_range", "must lie between 1990 and 2199")])
    })?;
    let to = from.last_of_year();
    let span = Span { from, to, as_of: today.clamp(from, to) };
    Ok(YearView { year, span, zone, company, local, dates: dates(app).await? })
}

/// Which of the two years leaves less, with days as the company writes them; empty when both leave the same.
fn stricter(rooms: &CapRooms, dates: DateOrder) -> String {
    match rooms.stricter {
        Some(StricterYear::RollingYear) => {
            format!("Less is left in the 365 days to {}.", dates.day(rooms.rolling_year.to))
        }
        Some(StricterYear::CalendarYear) => rooms.stricter_words.clone(),
        None => String::new(),
    }
}

#[derive(Template)]
#[template(path = "statement.html")]
struct StatementPage {
    dates: DateOrder,
    s: Statement,
    /// The day up to which it tells.
    until: Day,
    /// When it was prepared, by the company's clock.
    prepared: String,
    outside: bool,
}

impl StatementPage {
    /// Which of the two years leaves less of a cap.
    fn stricter(&self, rooms: &CapRooms) -> String {
        let words = stricter(rooms, self.dates);
        if words.is_empty() { "Both leave the same.".to_owned() } else { words }
    }

    /// Whether the limit of a cap may be reached.
    const fn than(cap: &YearCap) -> &'static str {
        if cap.limit_allowed { "at most " } else { "less than " }
    }

    /// The section's year as a picture.
    fn steps(&self, section: &SectionStatement) -> Option<YearSteps> {
        YearSteps::of(section, (self.s.from, self.until), self.dates)
    }

    /// The section against its cap as a picture.
    fn bar(section: &SectionStatement) -> Option<RoomBar> {
        let cap = section.cap.as_ref().map(|cap| &cap.limit_lb_per_1000_sqft);
        RoomBar::of(section.nitrogen_lb_per_1000_sqft, NutrientRate::ZERO, cap)
    }

    /// What one of the two years leaves of a cap.
    fn left(year: &YearRoom) -> Figure {
        figures::rate_at_most(&year.remaining_lb_per_1000_sqft).exact_on_paper()
    }

    /// The year's nitrogen, read against the cap.
    fn applied(section: &SectionStatement) -> Figure {
        let cap = section.cap.as_ref().map(|cap| &cap.limit_lb_per_1000_sqft);
        figures::rate_against(&section.nitrogen_lb_per_1000_sqft, cap).exact_on_paper()
    }
}

/// A client's statement, to be read and printed.
pub async fn client(
    reader: PaperSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Client>,
    Query(which): Query<Which>,
) -> Result<Response, Problem> {
    let YearView { year, span, zone, company: company_name, local, dates } = asked(&app, which.year).await?;
    let (about, at) = (About::Client(id), app.clock.now());
    let parts = store::statements::load(app.store.reader(), about, span, reader.scope()).await?;
    let law = app.law();
    let law_then = LawThen::of(&app, &law, span, &zone).await?;
    let lacking = gaps::of_statement(&app, parts.records_on_it(), (dates, law_then.as_ref())).await?;
    let receipt = receipts::now(&app).await?;
    let preparation = Preparation { year, span, at, zone, company_name, law: &law, law_then, lacking, receipt };
    let s = statement::statement(preparation, &parts)?.ok_or_else(|| Problem::not_found(about.label()))?;
    let prepared = local.minute(at, dates);
    Ok(page(StatementPage { dates, s, until: span.as_of, prepared, outside: reader.is_outside() }.render()))
}
