//! What the owner asks first: who will run past a cap and when.

use domain::{
    law::{nutrient::Nutrient, year::YearCap},
    statement::caps::CapRooms,
    time::Day,
};

use crate::{book::company_year::SectionSum, pages::figures};

/// A section that is past a cap, or will be past that on nitrogen with a visit that is planned.
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
    let mut found: Vec<RunsPast> = sums.iter().flat_map(|sum| one(sum).into_iter().chain(others(sum))).collect();
    found.sort_by_key(|one| one.on);
    found
}

/// Whether more is down than a cap holds, whatever it was put down for. A cap of some products or purposes alone does not forbid what
/// else went down.
pub fn is_over(rooms: &CapRooms) -> bool {
    rooms.cap.only_for.is_none() && rooms.is_over()
}

/// Whether a cap of some products or purposes alone is used up: whatever else went down counts against it, and none of those may.
pub fn is_used_up(rooms: &CapRooms) -> bool {
    rooms.cap.only_for.is_some() && rooms.is_over()
}

/// The yearly caps that a section is over, beside the tightest on nitrogen.
pub fn others_over(sum: &SectionSum) -> impl Iterator<Item = &CapRooms> {
    sum.caps.iter().filter(|rooms| Some(&rooms.cap) != sum.cap.as_ref()).filter(|rooms| is_over(rooms))
}

/// One for each nutrient, of its tightest cap, which stands first.
fn others(sum: &SectionSum) -> Vec<RunsPast> {
    let mut said: Vec<Nutrient> = sum.cap.as_ref().map(|cap| cap.nutrient).into_iter().collect();
    let mut found = Vec::new();
    for rooms in others_over(sum) {
        if !said.contains(&rooms.cap.nutrient) {
            said.push(rooms.cap.nutrient);
            found.push(row(sum, None, down(rooms)));
        }
    }
    found
}

fn down(rooms: &CapRooms) -> String {
    let (cap, limit) = (&rooms.cap, &rooms.cap.limit_lb_per_1000_sqft);
    let applied = figures::rate_against(&rooms.least().applied_lb_per_1000_sqft, Some(limit)).shown;
    let (name, limit) = (cap.nutrient.label(), figures::limit(limit).shown);
    format!("{applied} lb {name} is down, and the cap is {}{limit}.", than(cap))
}

/// What stands before the limit of a cap that must not be reached.
pub const fn than(cap: &YearCap) -> &'static str {
    if cap.limit_allowed { "" } else { "less than " }
}

fn one(sum: &SectionSum) -> Option<RunsPast> {
    let (cap, rooms) = (sum.cap.as_ref()?, sum.of_nitrogen()?);
    let (room, limit) = (rooms.least().remaining_lb_per_1000_sqft, cap.limit_lb_per_1000_sqft);
    if rooms.is_over() {
        return Some(row(sum, None, down(rooms)));
    }
    let day = sum.runs_past_on?;
    let planned = figures::rate_against(&sum.planned_nitrogen_lb_per_1000_sqft, Some(&room)).shown;
    let (room, limit) = (figures::rate_at_most(&room).shown, figures::limit(&limit).shown);
    Some(row(sum, Some(day), format!("{room} lb N is left of {}{limit}, and {planned} is planned.", than(cap))))
}

fn row(sum: &SectionSum, on: Option<Day>, words: String) -> RunsPast {
    RunsPast {
        client: sum.client_name.clone(),
        client_id: sum.client_id.to_string(),
        property_id: sum.property_id.to_string(),
        section: format!("{}, {}", sum.address, sum.section_name),
        on,
        words,
    }
}
