//! What the owner asks first: who will run past a cap and when.

use domain::time::Day;

use crate::{book::company_year::SectionSum, pages::figures};

/// A section that is past its cap, or will be with a visit that is planned.
pub struct RunsPast {
    pub client: String,
    pub client_id: String,
    pub property_id: String,
    pub section: String,
    /// The day of the visit with which it runs past; nothing when it is past already.
    pub on: Option<Day>,
    pub words: String,
}

/// Those that are past come first, then the others by the day of the visit.
pub fn runs_past(sums: &[SectionSum]) -> Vec<RunsPast> {
    let mut found: Vec<RunsPast> = sums.iter().filter_map(one).collect();
    found.sort_by_key(|one| one.on);
    found
}

fn one(sum: &SectionSum) -> Option<RunsPast> {
    let (cap, least) = (sum.cap.as_ref()?, sum.of_nitrogen()?.least());
    let (room, limit) = (least.remaining_lb_per_1000_sqft, cap.limit_lb_per_1000_sqft);
    let applied = least.applied_lb_per_1000_sqft;
    let (on, words) = match sum.runs_past_on {
        _ if room.raw() < 0 => {
            let applied = figures::rate_against(&applied, Some(&limit)).shown;
            (None, format!("{applied} lb N is down, and the cap is {}.", figures::limit(&limit).shown))
        }
        Some(day) => {
            let planned = figures::rate_against(&sum.planned_nitrogen_lb_per_1000_sqft, Some(&room)).shown;
            let (room, limit) = (figures::limit(&room).shown, figures::limit(&limit).shown);
            (Some(day), format!("{room} lb N is left of {limit}, and {planned} is planned."))
        }
        None => return None,
    };
    Some(RunsPast {
        client: sum.client_name.clone(),
        client_id: sum.client_id.to_string(),
        property_id: sum.property_id.to_string(),
        section: format!("{}, {}", sum.address, sum.section_name),
        on,
        words,
    })
}
