//! The company's year.

use std::sync::Arc;

use axum::{Json, extract::State};
use domain::{
    ids::{ClientId, PropertyId, SectionId},
    law::{ReportDue, year::YearCap},
    quantity::{NutrientRate, NutrientRoom},
    statement::caps::{CapRooms, StricterYear, YearRoom},
    time::Day,
};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::statements::days;
use crate::{
    access::OfficeOrOwner,
    api::company,
    book::{
        company_year::{self, SectionSum},
        statement::Gap,
    },
    extract::ValidQuery,
    problem::Problem,
    routes::{Routes, routes},
    state::App,
    store,
};

pub fn routes() -> Routes {
    routes!(get_company_year)
}

#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct CompanyYearQuery {
    /// Calendar year.
    #[param(minimum = 1990, maximum = 2199, example = 2026)]
    year: i64,
}

#[derive(Debug, Serialize, ToSchema)]
struct CompanyYear {
    #[schema(minimum = 1990, maximum = 2199)]
    year: i16,
    /// The yearly caps that bind on any section, each once. Sections name them by their place in this list, the first of which is 0.
    #[schema(max_items = 10_000)]
    caps: Vec<Arc<YearCap>>,
    #[schema(max_items = 100_000)]
    sections: Vec<SectionYear>,
    /// Reports that the law wants of the company for this year, the earliest due first, by the places in which it worked.
    #[schema(max_items = 200)]
    reports_due: Vec<ReportDue>,
    /// What must be known to read it: rule sets of which another version counts than when the year ended, or whose file is gone, and
    /// places about which something came into the book since the year ended.
    #[schema(max_items = 200)]
    notes: Vec<Gap>,
}

/// One section in the company's year.
#[derive(Debug, Serialize, ToSchema)]
struct SectionYear {
    client_id: ClientId,
    #[schema(max_length = 120)]
    client_name: String,
    #[schema(max_length = 300)]
    address: String,
    property_id: PropertyId,
    section_id: SectionId,
    #[schema(max_length = 120)]
    section_name: String,
    /// The tightest cap on nitrogen, by its place in `caps` of the year; null when no rule set that was read has one.
    #[schema(minimum = 0, maximum = 9999)]
    cap: Option<usize>,
    nitrogen_lb_per_1000_sqft: NutrientRate,
    quick_nitrogen_lb_per_1000_sqft: NutrientRate,
    phosphate_lb_per_1000_sqft: NutrientRate,
    potash_lb_per_1000_sqft: NutrientRate,
    /// By the calendar year.
    remaining_nitrogen_lb_per_1000_sqft: Option<NutrientRoom>,
    /// Every yearly cap that binds here, on phosphate as well, held against the calendar year and against 365 days.
    #[schema(max_items = 200)]
    caps: Vec<HeldCap>,
    /// Targets of the visits that are still to be made this year, added up.
    planned_nitrogen_lb_per_1000_sqft: NutrientRate,
    /// The day of the first planned visit with which the section runs past its cap, in the calendar year or in 365 days.
    runs_past_on: Option<Day>,
}

/// A yearly cap, held against both years.
#[derive(Debug, Serialize, ToSchema)]
struct HeldCap {
    /// Its place in `caps` of the year.
    #[schema(minimum = 0, maximum = 9999)]
    cap: usize,
    calendar_year: YearRoom,
    /// The 365 days in which most went down: of those that hold the day as of which the year is told, or once it is over, of
    /// those that ended in it on a day of work with the nutrient or on its last day.
    rolling_year: YearRoom,
    /// The year that leaves less; null when both leave the same.
    stricter: Option<StricterYear>,
}

/// The caps that were named so far, each once.
#[derive(Debug, Default)]
struct Named {
    caps: Vec<Arc<YearCap>>,
}

impl Named {
    /// The place of a cap. Sections that are bound alike share theirs, so that most are known without a look at their texts.
    fn place(&mut self, cap: &Arc<YearCap>) -> usize {
        let same = self.caps.iter().position(|known| Arc::ptr_eq(known, cap));
        same.or_else(|| self.caps.iter().position(|known| known == cap)).unwrap_or_else(|| {
            self.caps.push(Arc::clone(cap));
            self.caps.len() - 1
        })
    }

    fn held(&mut self, rooms: CapRooms) -> HeldCap {
        let CapRooms { cap, calendar_year, rolling_year, stricter, .. } = rooms;
        HeldCap { cap: self.place(&cap), calendar_year, rolling_year, stricter }
    }

    fn section(&mut self, sum: SectionSum) -> SectionYear {
        SectionYear {
            client_id: sum.client_id,
            client_name: sum.client_name,
            address: sum.address,
            property_id: sum.property_id,
            section_id: sum.section_id,
            section_name: sum.section_name,
            cap: sum.cap.as_ref().map(|cap| self.place(cap)),
            nitrogen_lb_per_1000_sqft: sum.nitrogen_lb_per_1000_sqft,
            quick_nitrogen_lb_per_1000_sqft: sum.quick_nitrogen_lb_per_1000_sqft,
            phosphate_lb_per_1000_sqft: sum.phosphate_lb_per_1000_sqft,
            potash_lb_per_1000_sqft: sum.potash_lb_per_1000_sqft,
            remaining_nitrogen_lb_per_1000_sqft: sum.remaining_nitrogen_lb_per_1000_sqft,
            caps: sum.caps.into_iter().map(|rooms| self.held(rooms)).collect(),
            planned_nitrogen_lb_per_1000_sqft: sum.planned_nitrogen_lb_per_1000_sqft,
            runs_past_on: sum.runs_past_on,
        }
    }
}

/// Get the company's year
///
/// Every section against its caps, without the lines: the owner's overview. Each cap stands once, with its source, in `caps`. With
/// the reports that the law wants for the year.
#[utoipa::path(get, path = "/api/v1/statements/company", operation_id = "get_company_year", tag = "statements",
    security(("bearer" = ["office", "owner"])), params(CompanyYearQuery),
    responses((status = 200, description = "Every section's year.", body = CompanyYear)))]
async fn get_company_year(
    _: OfficeOrOwner,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<CompanyYearQuery>,
) -> Result<Json<CompanyYear>, Problem> {
    let (_, zone) = company(&app).await?;
    let (year, span, zone) = days(&app, query.year, &zone)?;
    let sums = store::company_year::company_year(app.store.reader(), span).await?;
    let law = app.law();
    let reports_due = company_year::reports_due(&law, year, &sums);
    let notes = company_year::notes(&app, &law, &sums, (span, &zone)).await?.into_iter().map(Gap).collect();
    let sums = company_year::company_year(&law, span.told(), sums);
    let mut named = Named::default();
    let sections = sums.into_iter().map(|sum| named.section(sum)).collect();
    Ok(Json(CompanyYear { year, caps: named.caps, sections, reports_due, notes }))
}
