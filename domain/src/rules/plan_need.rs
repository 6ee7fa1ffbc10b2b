//! A written nutrient plan for the site, where the law asks for one.

use super::{answer::Answer, case::Case};
use crate::{law::duty::PlanNeed, quantity::Area, time::Day};

const ENTER: &str = "Have the plan written, or enter on the property the day of the one there is.";

/// Nothing for a site that is too small to need one.
pub(super) fn judge(duty: &PlanNeed, case: &Case<'_>) -> Option<Answer> {
    let site = &case.facts.site;
    // One application may reach beyond what is known to be measured, and is then the better figure.
    let treated = case.facts.lines.iter().map(|line| line.area).max().unwrap_or(Area::ZERO);
    if duty.said.area.is_some_and(|from| !from.is_reached_by(site.area.max(treated))) {
        return None;
    }
    let on = case.facts.on;
    let oldest = duty.plan_months.map(|months| on.minus_months(i32::from(months)));
    let answer = match site.plan_on {
        Some(made) if made > on => {
            Answer::broken(format!("The nutrient plan for the site is of {made}, after the work."), ENTER)
        }
        Some(made) if oldest.is_some_and(|oldest| made < oldest) => {
            Answer::broken(format!("The nutrient plan for the site is of {made}, which is too long ago."), ENTER)
        }
        Some(_) => Answer::met(),
        None => Answer::broken(format!("No nutrient plan for the site is in the book. {}.", duty.said.words), ENTER),
    };
    let limit =
        duty.plan_months.map_or_else(|| "a written plan".to_owned(), |months| format!("of the last {months} months"));
    Some(answer.with(limit, site.plan_on.map(|made: Day| made.to_string()), "nutrient plan"))
}
