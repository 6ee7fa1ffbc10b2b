//! The invented company at its full size: 180 clients in two states, four technicians, a year of rounds, and what goes wrong in one.
//!
//! Everything goes through the server's own HTTP API on its moved clock; the seed says what.

mod crew;
mod land;
mod names;
mod planted;
mod plants;
mod rounds;

use domain::time::{Day, Instant};
use jiff::SignedDuration;

use self::{
    crew::Technician,
    rounds::{Company, ROUNDS},
};
use super::{
    company::{self, Staff},
    http::Caller,
    job::{self, Made},
};
use crate::clock::MovedClock;

/// Any number; another one gives another company.
const SEED: u64 = 20_260_915;

/// The moved clock, and the moment of the demonstration.
#[derive(Debug)]
pub struct Days<'c> {
    clock: &'c MovedClock,
    nobody: &'c Caller,
    staff: &'c Staff,
    pub end: Instant,
}

impl Days<'_> {
    /// The evening of a working day, when everything that was recorded on it has been sent; the office with a new sign-in.
    async fn evening(&self, day: Day) -> Result<Caller, String> {
        self.office_on(&day.to_string(), "21:00").await
    }

    /// A sign-in ends after half a day, so that each day that is leapt to needs its own.
    async fn office_on(&self, day: &str, at: &str) -> Result<Caller, String> {
        self.put(day, at)?;
        job::signed_in(self.nobody, self.staff, "office").await
    }

    fn put(&self, day: &str, at: &str) -> Result<(), String> {
        self.clock.put(Instant::parse(&format!("{day}T{at}:00Z")).map_err(|error| error.to_string())?);
        Ok(())
    }
}

/// Makes the company and its year, up to the morning of the demonstration.
pub async fn made(base: &str, setup_code: &str, clock: &MovedClock, moment: Instant) -> Result<Made, String> {
    let nobody = Caller::nobody(base)?;
    clock.put(Instant::parse("2025-08-26T13:00:00Z").map_err(|error| error.to_string())?);
    let staff = company::staff(base, setup_code).await?;
    let mut store = crew::store(&staff.office).await?;
    let mut crew = crew::crew(base, &staff, &store).await?;
    let plots = land::plots(&mut names::Names::of(SEED));
    let mut places = land::enter(&staff.office, &plots).await?;
    let days = Days { clock, nobody: &nobody, staff: &staff, end: moment.plus(SignedDuration::from_hours(-1)) };
    let (mut records, mut visits) = (0, 0);
    for round in ROUNDS {
        // Each round is planned a few days before it begins.
        let office = days.office_on(round.eve, "12:30").await?;
        if round.renews {
            renewed(&nobody, &office, &mut crew).await?;
        }
        if round.number == 4 {
            let company = Company { plots: &plots, places: &places, crew: &crew, store: &store };
            let area = planted::before_autumn(&company, &office).await?;
            let measured = places.get_mut(plants::MISMEASURED).and_then(|place| place.sections.first_mut());
            measured.ok_or("no section was measured anew")?.1 = area;
        }
        if round.renews {
            crew::deliver(&office, &mut store, round.eve).await?;
        }
        if let Some(drift) = round.drift {
            for (at, technician) in crew.iter().enumerate() {
                crew::calibrate(technician, at, &store.shelf.feed, round.eve, drift).await?;
            }
        }
        let company = Company { plots: &plots, places: &places, crew: &crew, store: &store };
        let stops = company.plan(&office, round).await?;
        visits += stops.len();
        records += company.done(round.number, &stops, &days).await?;
    }
    Ok(Made { staff, shelf: store.shelf, places, records, visits })
}

/// Phones are connected anew: what they were given ends after half a year.
async fn renewed(nobody: &Caller, office: &Caller, crew: &mut [Technician]) -> Result<(), String> {
    for (technician, number) in crew.iter_mut().zip(1..) {
        technician.phone = company::enrol(nobody, office, &technician.person, number).await?;
    }
    Ok(())
}
