//! Time zones as the book names them. A day that law, record or statement goes by is reckoned in a zone that is known, or not at
//! all: a zone was checked when it was written, and may have left the tables since.

use domain::{
    ids::PropertyId,
    time::{Day, Instant},
};
use jiff::{SignedDuration, tz::TimeZone};

use crate::problem::{Kind, Problem};

/// A zone of the book that this server does not know, and whose it is.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum UnknownZone {
    #[error(
        "Property {0} has the time zone `{1}`, which this server does not know, so it cannot say which day it is there. The \
         office must choose the property's time zone again."
    )]
    OfProperty(PropertyId, String),
    #[error(
        "This server does not know the company's time zone `{0}`, so it cannot say which day it is at the company. The zone was \
         chosen at set-up; a newer version of the server knows newer zones."
    )]
    OfCompany(String),
}

/// The zone of a property, by the name that is stored with it.
pub fn of_property(id: PropertyId, name: &str) -> Result<TimeZone, UnknownZone> {
    domain::time::zone(name).map_err(|_| UnknownZone::OfProperty(id, name.to_owned()))
}

/// The zone of a property on a day that has been; where it has left the tables since, the one that stands in its place now.
pub fn of_property_then(id: PropertyId, then: &str, now: &str) -> Result<TimeZone, UnknownZone> {
    of_property(id, then).or_else(|unknown| of_property(id, now).map_err(|_| unknown))
}

/// The company's zone, by the name that is stored.
pub fn of_company(name: &str) -> Result<TimeZone, UnknownZone> {
    domain::time::zone(name).map_err(|_| UnknownZone::OfCompany(name.to_owned()))
}

/// The earliest day that it can be anywhere: no zone lies further west of UTC than twelve hours.
pub fn earliest_day(now: Instant) -> Day {
    now.plus(SignedDuration::from_hours(-12)).day_in(&TimeZone::UTC)
}

impl From<UnknownZone> for Problem {
    fn from(unknown: UnknownZone) -> Self {
        tracing::error!(%unknown, "a day is not known");
        Self::new(Kind::Fault, unknown.to_string())
    }
}
