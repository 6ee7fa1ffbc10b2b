//! The owner's year: every section against its cap, and a client's statement.

mod outlook;

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use domain::{
    actor::Role,
    ids,
    law::{ReportDue, year::YearCap},
    statement::caps::{CapRooms, StricterYear, YearRoom},
    time::Day,
};
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::{
    api,
    book::{
        company_year::{self, SectionSum},
        gaps,
        journal::{self, JournalState},
        receipts::{self, Receipt},
        statement::{self, LawThen, Preparation, SectionStatement, Statement},
    },
    extract::PathId,
    pages::{
        figures::{self, Figure},
        local::Local,
        office::dates,
        office_session::{OfficeSession, PaperSession},
        page,
        year::outlook::RunsPast,
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

async fn asked(app: &App, which: &Which) -> Result<YearView, Problem> {
    let (company, zone) = api::company(app).await?;
    let local = Local::of(&zone);
    // The year's caps and gaps go by today, so it is known or the page is not made.
    let zone = zone::of_company(&zone)?;
    let today = app.clock.now().day_in(&zone);
    let year = which.year.unwrap_or(today.year());
    let from = Day::new(year, 1, 1).map_err(|_| {
        Problem::invalid(vec![FieldFault::parameter("year", "out_of_range", "must lie between 1990 and 2199")])
    })?;
    let to = from.last_of_year();
    let span = Span { from, to, as_of: today.clamp(from, to) };
    Ok(YearView { year, span, zone, company, local, dates: dates(app).await? })
}

#[derive(Template)]
#[template(path = "year.html")]
struct YearPage {
    dates: DateOrder,
    year: i16,
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
    clients: Vec<ClientYear>,
}

struct JournalShown {
    state: JournalState,
    /// By the company's clock.
    last_at: Option<String>,
    receipt: Receipt,
}

struct ClientYear {
    id: String,
    name: String,
    sections: Vec<SectionRow>,
}

struct SectionRow {
    property: String,
    address: String,
    name: String,
    /// "less than ", where the cap itself is too much.
    than: &'static str,
    cap: Option<Figure>,
    applied: Figure,
    planned: Figure,
    room: Option<Figure>,
    /// What 365 days leave.
    rolling: Option<Figure>,
    class: &'static str,
    words: String,
    /// Over a cap that counts for every product.
    over: bool,
    /// Over the cap on nitrogen with what is planned, and not before.
    runs_over: bool,
    /// Nothing is left of a cap that some products alone are held to.
    used_up: bool,
    /// The other yearly caps, and what there is to say of them at once.
    others: Vec<CapRow>,
    others_class: &'static str,
    others_words: &'static str,
    /// Caps that count some products alone, so that nothing is held against them here.
    not_added_up: Vec<String>,
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

/// A yearly cap other than the tightest on nitrogen.
struct CapRow {
    nutrient: &'static str,
    only_for: Option<String>,
    /// "less than ", where the cap itself is too much.
    than: &'static str,
    cap: Figure,
    applied: Figure,
    room: Figure,
    rolling: Figure,
    class: &'static str,
    words: &'static str,
}

impl CapRow {
    fn of(rooms: &CapRooms) -> Self {
        let limit = &rooms.cap.limit_lb_per_1000_sqft;
        let (class, words) = match () {
            () if outlook::is_over(rooms) => ("stop", "■ over this cap"),
            () if outlook::is_used_up(rooms) => ("care", "▲ nothing is left"),
            () => ("go", "✓ within"),
        };
        let room = |year: &YearRoom| figures::rate_at_most(&year.remaining_lb_per_1000_sqft);
        Self {
            nutrient: rooms.cap.nutrient.label(),
            only_for: rooms.cap.only_for.clone(),
            than: outlook::than(&rooms.cap),
            cap: figures::limit(limit),
            applied: figures::rate_against(&rooms.calendar_year.applied_lb_per_1000_sqft, Some(limit)),
            room: room(&rooms.calendar_year),
            rolling: room(&rooms.rolling_year),
            class,
            words,
        }
    }
}

impl SectionRow {
    fn of(sum: &SectionSum, dates: DateOrder) -> Self {
        let nitrogen = sum.of_nitrogen();
        let over = nitrogen.is_some_and(CapRooms::is_over);
        let (class, words) = match (over, sum.runs_past_on, &sum.cap) {
            (true, ..) => ("stop", "■ over its cap".to_owned()),
            (_, Some(day), _) => ("care", format!("▲ over it with the visit of {}", dates.day(day))),
            (_, None, Some(_)) => ("go", "✓ within".to_owned()),
            (_, None, None) => ("care", "▲ no cap is known".to_owned()),
        };
        let less = nitrogen.is_some_and(|rooms| rooms.stricter == Some(StricterYear::RollingYear));
        let words = if less { format!("{words}; less in 365 days") } else { words };
        let cap = sum.cap.as_ref().map(|cap| &cap.limit_lb_per_1000_sqft);
        let others = sum.caps.iter().filter(|rooms| Some(&rooms.cap) != sum.cap.as_ref());
        let others: Vec<CapRow> = others.map(CapRow::of).collect();
        let is_any = |class: &str| others.iter().any(|cap| cap.class == class);
        let (others_class, others_words) = match (is_any("stop"), is_any("care")) {
            (true, _) => ("stop", "■ over"),
            (false, true) => ("care", "▲ nothing is left for some products"),
            (false, false) => ("go", "✓ within"),
        };
        let not_added_up =
            sum.not_added_up.iter().map(|cap| format!("{}, {}", cap.nutrient.label(), cap.place)).collect();
        Self {
            property: sum.property_id.to_string(),
            address: sum.address.clone(),
            name: sum.section_name.clone(),
            than: sum.cap.as_ref().map_or("", |cap| outlook::than(cap)),
            cap: cap.map(figures::limit),
            applied: figures::rate_against(&sum.nitrogen_lb_per_1000_sqft, cap),
            planned: figures::rate_against(
                &sum.planned_nitrogen_lb_per_1000_sqft,
                sum.remaining_nitrogen_lb_per_1000_sqft.as_ref(),
            ),
            room: sum.remaining_nitrogen_lb_per_1000_sqft.as_ref().map(figures::rate_at_most),
            rolling: nitrogen.map(|rooms| figures::rate_at_most(&rooms.rolling_year.remaining_lb_per_1000_sqft)),
            class,
            words,
            others,
            others_class,
            others_words,
            not_added_up,
            over: over || outlook::others_over(sum).next().is_some(),
            runs_over: !over && sum.runs_past_on.is_some(),
            used_up: sum.caps.iter().any(outlook::is_used_up),
        }
    }
}

/// Every client and section against its cap, with what is planned.
pub async fn year(
    OfficeSession(actor): OfficeSession,
    State(app): State<App>,
    Query(which): Query<Which>,
) -> Result<Response, Problem> {
    let YearView { year, span, zone, local, dates, .. } = asked(&app, &which).await?;
    let sums = store::company_year::company_year(app.store.reader(), span).await?;
    let law = app.law();
    let reports = company_year::reports_due(&law, year, &sums);
    let law_then = LawThen::of(&app, &law, span, &zone).await?;
    let notes = company_year::told_of_law(&law, law_then.as_ref(), &sums, span.as_of);
    let sums = company_year::company_year(&law, span.told(), sums);
    let mut clients: Vec<ClientYear> = Vec::new();
    for sum in &sums {
        let id = sum.client_id.to_string();
        if clients.last().is_none_or(|client| client.id != id) {
            clients.push(ClientYear { id, name: sum.client_name.clone(), sections: Vec::new() });
        }
        if let Some(client) = clients.last_mut() {
            client.sections.push(SectionRow::of(sum, dates));
        }
    }
    let count = |which: fn(&SectionRow) -> bool| {
        clients.iter().flat_map(|client| &client.sections).filter(|row| which(row)).count()
    };
    let (over, runs_over, used_up) = (count(|row| row.over), count(|row| row.runs_over), count(|row| row.used_up));
    let runs_past = outlook::runs_past(&sums);
    let journal = if actor.role == Role::Owner {
        let state = journal::state(&app.store).await?;
        let last_at = state.last_at.map(|at| local.minute(at, dates));
        Some(JournalShown { last_at, state, receipt: receipts::now(&app).await? })
    } else {
        None
    };
    Ok(page(
        YearPage {
            dates,
            year,
            sections: sums.len(),
            over,
            runs_over,
            used_up,
            runs_past,
            journal,
            reports,
            notes,
            clients,
        }
        .render(),
    ))
}

#[derive(Template)]
#[template(path = "statement.html")]
struct StatementPage {
    dates: DateOrder,
    s: Statement,
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
    let YearView { year, span, zone, company: company_name, local, dates } = asked(&app, &which).await?;
    let (about, at) = (About::Client(id), app.clock.now());
    let parts = store::statements::load(app.store.reader(), about, span, reader.scope()).await?;
    let law = app.law();
    let law_then = LawThen::of(&app, &law, span, &zone).await?;
    let lacking = gaps::of_statement(&app, parts.records_on_it(), (dates, law_then.as_ref())).await?;
    let receipt = receipts::now(&app).await?;
    let preparation = Preparation { year, span, at, zone, company_name, law: &law, law_then, lacking, receipt };
    let s = statement::statement(preparation, &parts)?.ok_or_else(|| Problem::not_found(about.label()))?;
    let prepared = local.minute(at, dates);
    Ok(page(StatementPage { dates, s, prepared, outside: reader.is_outside() }.render()))
}
