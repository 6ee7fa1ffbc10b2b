//! A property as an act reads it: what it is on a day, whose it was, and who may know it.

use std::collections::HashSet;

use domain::{
    application::Audience,
    dated::Stood,
    facts::SiteFacts,
    ids::{ClientId, PersonId, SectionId},
    land::PropertyKind,
    quantity::Area,
    time::{Day, Instant},
};
use jiff::tz::TimeZone;
use serde::Deserialize;

use super::last_told;
use crate::acts::particulars::ClientFacts;

/// Day, place among those of its day, and area.
type Measured = (Day, i64, i64);

#[derive(Debug, Clone, Deserialize)]
pub struct PropertyRow {
    /// Whoever is or was its client, as they stood when.
    clients: Vec<(ClientId, Stood<ClientFacts>)>,
    /// Its lawn sections, each with day, place and area of the measurements that count.
    lawns: Vec<(SectionId, Vec<Measured>)>,
    /// People who were ever sent here.
    pub visited_by: HashSet<PersonId>,
    history: Stood<PropertyFacts>,
}

/// What a property is on a day, as far as decisions read it.
#[derive(Debug, Clone, Deserialize)]
pub struct PropertyFacts {
    pub client_id: ClientId,
    pub address: String,
    pub postal_code: String,
    pub time_zone: String,
    pub rule_sets: Vec<String>,
    pub latitude: Option<f64>,
    pub longitude: Option<f64>,
    pub place: Option<PlaceCodes>,
    local_rules_checked_on: Option<Day>,
    #[serde(default = "lawn")]
    pub kind: Option<PropertyKind>,
    #[serde(default = "for_hire")]
    pub worked_by: Audience,
    #[serde(default)]
    pub nutrient_plan_on: Option<Day>,
}

/// What entries and requests mean that do not name the kind.
pub const fn lawn() -> Option<PropertyKind> {
    Some(PropertyKind::Lawn)
}

/// Likewise of who does the work.
pub const fn for_hire() -> Audience {
    Audience::Professional
}

/// Codes of county and municipality, as far as they are known.
#[derive(Debug, Clone, Default, Deserialize)]
pub struct PlaceCodes {
    pub county: Option<String>,
    pub municipality: Option<String>,
}

/// When a client's service ends, by what stood on a day. An end that was entered later than it came is known for its own days too,
/// unless another end took its place; one that was taken away since stands for the days on which it stood.
pub fn service_ends(client: &Stood<ClientFacts>, day: Day) -> Option<Day> {
    let later: Vec<Option<Day>> = client.begun_after(day).map(|state| state.cancelled_on).collect();
    let is_last_word = |at: usize| later.get(at + 1).is_none_or(|next| next.is_none() || *next == later[at]);
    let told_later = later.iter().enumerate().filter(|(at, _)| is_last_word(*at)).filter_map(|(_, ends)| *ends);
    client.on(day).cancelled_on.into_iter().chain(told_later.filter(|ends| *ends <= day)).min()
}

/// The last day up to one on which county and municipality were asked.
pub fn local_rules_asked_by(property: &Stood<PropertyFacts>, day: Day) -> Option<Day> {
    last_told(property, day, |state| state.local_rules_checked_on)
}

/// The latest area on or before a day; the first one for days before any.
fn area_on(measured: &[Measured], day: Day) -> Option<i64> {
    let latest = measured.iter().filter(|(on, ..)| *on <= day).max_by_key(|(on, place, _)| (*on, *place));
    latest.or_else(|| measured.iter().min_by_key(|(on, place, _)| (*on, *place))).map(|(.., area)| *area)
}

impl PropertyRow {
    /// When the service ends of whoever is the client on a day.
    pub fn cancelled_on(&self, day: Day) -> Option<Day> {
        self.client(self.on(day).client_id).and_then(|client| service_ends(client, day))
    }

    /// The last day up to this one on which county and municipality were asked, as far as it is known.
    pub fn local_rules_checked_on(&self, day: Day) -> Option<Day> {
        local_rules_asked_by(&self.history, day)
    }

    /// What rules read of the ground on a day on which these sections are worked on.
    pub fn site_on(&self, day: Day, worked_on: &[SectionId]) -> SiteFacts {
        let stood = self.on(day);
        SiteFacts { kind: stood.kind, plan_on: stood.nutrient_plan_on, area: self.lawn_area(day, worked_on) }
    }

    /// All its lawn sections together, by the measurements of the day. A section that was first measured later was no known lawn
    /// yet, unless it is worked on: then its first measurement counts, and that of all where none was measured by then.
    fn lawn_area(&self, day: Day, worked_on: &[SectionId]) -> Area {
        let by_then = |measured: &[Measured]| measured.iter().any(|(on, ..)| *on <= day);
        let none_was = !self.lawns.iter().any(|(_, measured)| by_then(measured));
        let counts =
            |(id, measured): &&(SectionId, Vec<Measured>)| none_was || by_then(measured) || worked_on.contains(id);
        let areas = self.lawns.iter().filter(counts).filter_map(|(_, measured)| area_on(measured, day));
        Area::from_raw(areas.sum())
    }

    /// Who is or was its client, as they stood when.
    pub fn client(&self, id: ClientId) -> Option<&Stood<ClientFacts>> {
        self.clients.iter().find(|(known, _)| *known == id).map(|(_, stood)| stood)
    }

    /// What the property was on a day.
    pub fn on(&self, day: Day) -> &PropertyFacts {
        self.history.on(day)
    }

    /// The clocks by which moments there become days: that of the day, and that of now, in case the first has left the tables
    /// since. Zones lie less than a day apart, so the day by universal time will do to ask which one it was.
    pub fn time_zones(&self, at: Instant) -> [&str; 2] {
        [&self.history.on(at.day_in(&TimeZone::UTC)).time_zone, &self.history.present().time_zone]
    }
}
