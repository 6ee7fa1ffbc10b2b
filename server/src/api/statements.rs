//! Yearly statements.

use axum::{
    Json,
    extract::State,
    http::HeaderMap,
    response::{IntoResponse, Response},
};
use domain::{
    ids::{ClientId, PropertyId, SectionId},
    time::Day,
};
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};
use utoipa::IntoParams;

use crate::{
    access::StaffOrPass,
    api::company,
    book::{
        gaps, receipts,
        statement::{self, LawThen, Preparation, Statement},
    },
    extract::ValidQuery,
    problem::{FieldFault, Problem},
    report::{
        self,
        form::{self, Format},
    },
    routes::{Routes, routes},
    state::App,
    store::{
        self,
        settings::DateOrder,
        statements::{About, Span},
    },
    zone,
};

pub fn routes() -> Routes {
    routes!(get_statement)
}

/// Whose year.
#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct StatementQuery {
    /// Calendar year.
    #[param(minimum = 1990, maximum = 2199, example = 2026)]
    year: i64,
    /// Give one of client, property and section.
    #[serde(default)]
    client_id: Option<ClientId>,
    /// All sections of this property.
    #[serde(default)]
    property_id: Option<PropertyId>,
    /// This section alone.
    #[serde(default)]
    section_id: Option<SectionId>,
    /// `json` or `csv`; wins over the `Accept` header, so that a link works in a browser.
    #[serde(default)]
    #[param(inline)]
    format: Option<Format>,
}

/// A year's days, and the company's clock.
pub(super) fn days(app: &App, year: i64, zone: &str) -> Result<(i16, Span, TimeZone), Problem> {
    let invalid =
        || Problem::invalid(vec![FieldFault::parameter("year", "out_of_range", "must lie between 1990 and 2199")]);
    let year = i16::try_from(year).map_err(|_| invalid())?;
    let from = Day::new(year, 1, 1).map_err(|_| invalid())?;
    let to = from.last_of_year();
    let zone = zone::of_company(zone)?;
    let as_of = app.clock.now().day_in(&zone).clamp(from, to);
    Ok((year, Span { from, to, as_of }, zone))
}

/// Get a yearly statement
///
/// Of a client, a property or a section: area, cap and who set it, what was put down in all and in quick-release form,
/// phosphate, potash, pounds on 1,000 sq ft, what remains, percent of the cap, each line traced to its record, gaps named.
/// As JSON or CSV.
#[utoipa::path(get, path = "/api/v1/statements", operation_id = "get_statement", tag = "statements", security(("bearer" = ["any staff", "pass"])),
    params(StatementQuery),
    responses((status = 200, description = "The statement.", content((Statement = "application/json"), (String = "text/csv")))))]
async fn get_statement(
    staff: StaffOrPass,
    State(app): State<App>,
    headers: HeaderMap,
    ValidQuery(query): ValidQuery<StatementQuery>,
) -> Result<Response, Problem> {
    let form = form::of(query.format, &headers, "A statement")?;
    let about = match (query.client_id, query.property_id, query.section_id) {
        (Some(id), None, None) => About::Client(id),
        (None, Some(id), None) => About::Property(id),
        (None, None, Some(id)) => About::Section(id),
        _ => {
            let fault =
                FieldFault::parameter("client_id", "incomplete", "give one of client_id, property_id and section_id");
            return Err(Problem::invalid(vec![fault]));
        }
    };
    let (company_name, zone) = company(&app).await?;
    let (year, span, zone) = days(&app, query.year, &zone)?;
    let parts = store::statements::load(app.store.reader(), about, span, staff.scope()).await?;
    let law = app.law();
    let law_then = LawThen::of(&app, &law, span, &zone).await?;
    let how = (DateOrder::YearMonthDay, law_then.as_ref());
    let lacking = gaps::of_statement(&app, parts.records_on_it(), how).await?;
    let (at, receipt) = (app.clock.now(), receipts::now(&app).await?);
    let preparation = Preparation { year, span, at, zone, company_name, law: &law, law_then, lacking, receipt };
    let made = statement::statement(preparation, &parts)?.ok_or_else(|| Problem::not_found(about.label()))?;
    match form {
        Format::Json => Ok((form::vary(), Json(made)).into_response()),
        Format::Csv => {
            let body = report::csv::statement(&made).map_err(|error| Problem::fault(&error))?;
            Ok(form::csv(body, &format!("nitrogen-statement-{year}.csv")))
        }
    }
}
