//! A property as an act reads it: what it is on a day, whose it was, and who may know it.

use std::collections::HashSet;

use domain::{
    application::Audience,
    dated::Stood,
    facts::SiteFacts,
    ids::{ClientId, PersonId},
    land::PropertyKind,
    quantity::Area,
    time::{Day, Instant},
};
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::acts::particulars::ClientFacts;

#[derive(Debug, Clone, Deserialize)]
pub struct PropertyRow {
    /// Whose it was from which day on, the first without one, and when that client's service ends by the book of now.
    owners: Vec<(Option<Day>, Option<Day>)>,
    /// Whoever is or was its client, as they stood when.
    clients: Vec<(ClientId, Stood<ClientFacts>)>,
    /// By the book of now.
    local_rules_checked_on: Option<Day>,
    /// All its lawn sections together, by their newest measurements.
    lawn_area: Option<i64>,
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

impl PropertyRow {
    /// When the service ends of whoever is the client on a day.
    pub fn cancelled_on(&self, day: Day) -> Option<Day> {
        let begun = self.owners.iter().filter(|(since, _)| *since <= Some(day));
        begun.max_by_key(|(since, _)| *since).and_then(|(_, ends)| *ends)
    }

    /// The last day up to this one on which county and municipality were asked, as far as it is known.
    pub fn local_rules_checked_on(&self, day: Day) -> Option<Day> {
        let known = [self.local_rules_checked_on, self.history.on(day).local_rules_checked_on];
        known.into_iter().flatten().filter(|asked| *asked <= day).max()
    }

    /// What rules read of the ground on a day.
    pub fn site_on(&self, day: Day) -> SiteFacts {
        let stood = self.on(day);
        let area = Area::from_raw(self.lawn_area.unwrap_or_default());
        SiteFacts { kind: stood.kind, plan_on: stood.nutrient_plan_on, area }
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
