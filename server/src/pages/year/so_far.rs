//! This year so far, for a page that is about something else: a section's cap, what is down and what is left.

use domain::{ids::SectionId, quantity::NutrientRate, time::Day};

use super::asked;
use crate::{
    book::{
        gaps::Lacking,
        receipts,
        statement::{self, Preparation, SectionStatement, Statement},
    },
    pages::{
        figures::{self, Figure},
        pictures::{room::RoomBar, steps::YearSteps},
    },
    problem::Problem,
    scope::Scope,
    state::App,
    store::{
        self,
        settings::DateOrder,
        statements::About,
        visits::{Visit, VisitStatus},
    },
};

/// The statement of this year as it stands now.
#[derive(Debug)]
pub struct SoFar {
    statement: Option<Statement>,
    today: Day,
    /// Why nothing can be said, where nothing can.
    pub unknown: Option<String>,
}

impl SoFar {
    /// A page about something else is shown all the same when the year cannot be worked out, and says why.
    pub async fn of(app: &App, about: About) -> Self {
        match this_year(app, about).await {
            Ok((statement, today)) => Self { statement, today, unknown: None },
            Err(problem) => Self {
                statement: None,
                today: app.clock.now().day_in(&jiff::tz::TimeZone::UTC),
                unknown: Some(problem.detail),
            },
        }
    }

    fn section(&self, id: &SectionId) -> Option<&SectionStatement> {
        self.statement.as_ref()?.sections.iter().find(|section| section.section_id == *id)
    }

    /// A section against its cap, with what is planned on it this year.
    pub fn bar(&self, id: &SectionId, visits: &[Visit]) -> Option<RoomBar> {
        let section = self.section(id)?;
        let is_ahead = |visit: &&Visit| {
            visit.status == VisitStatus::Planned
                && visit.planned_on.year() == self.today.year()
                && visit.section_ids.contains(id)
        };
        let targets = visits.iter().filter(is_ahead).filter_map(|visit| visit.target_nitrogen_lb_per_1000_sqft);
        let planned = NutrientRate::from_raw(targets.map(NutrientRate::raw).sum());
        let limit = section.cap.as_ref().map(|cap| &cap.limit_lb_per_1000_sqft);
        RoomBar::of(section.nitrogen_lb_per_1000_sqft, planned, limit)
    }

    /// What is left under the tightest cap on nitrogen.
    pub fn left(&self, id: &SectionId) -> Option<Figure> {
        Some(figures::rate_at_most(&self.section(id)?.remaining_nitrogen_lb_per_1000_sqft?))
    }

    /// A section's year as a line of steps.
    pub fn steps(&self, id: &SectionId, dates: DateOrder) -> Option<YearSteps> {
        YearSteps::of(self.section(id)?, (self.today.first_of_year(), self.today), dates)
    }
}

async fn this_year(app: &App, about: About) -> Result<(Option<Statement>, Day), Problem> {
    let view = asked(app, None).await?;
    let (year, span, zone, company_name) = (view.year, view.span, view.zone, view.company);
    let parts = store::statements::load(app.store.reader(), about, span, Scope::Company).await?;
    let (law, receipt) = (app.law(), receipts::now(app).await?);
    let (at, law_then, lacking) = (app.clock.now(), None, Lacking::default());
    let preparation = Preparation { year, span, at, zone, company_name, law: &law, law_then, lacking, receipt };
    Ok((statement::statement(preparation, &parts)?, span.as_of))
}
