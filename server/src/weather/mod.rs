//! What weather services say about a place, kept as evidence.
//!
//! Two services behind one small interface. What they say becomes facts of the domain with source and age; what fails is a gap
//! that is said, never a guess. Nothing here decides whether work may be done.

pub mod base;
mod body;
mod breaker;
pub(crate) mod client;
pub(crate) mod fetcher;
mod heads;
mod nws;
mod open_meteo;
pub mod read;
pub mod said;
pub mod unread;

use std::{
    fmt::Debug,
    sync::{Arc, Mutex, PoisonError},
    time::Duration,
};

use domain::{
    time::Instant,
    weather::{Weather, reported::Reported},
};
use serde::Serialize;
use tokio::time;
use utoipa::ToSchema;

pub use breaker::Seen;
pub use fetcher::{Patience, unpacked};
pub use unread::Unread;

use crate::{
    acts::{Provided, ServiceAsked},
    clock::Clock,
    config,
    store::{BoxFuture, Store},
};

/// How long a person who asks waits for the network at most.
pub const PERSON_WAITS: Duration = Duration::from_secs(4);
/// How long the background waits for one document.
pub const BACKGROUND_WAITS: Duration = Duration::from_secs(20);

/// A place to about a hundred metres: a forecast's cell has two and a half kilometres, and neighbours share what is fetched.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Place {
    latitude_e3: i32,
    longitude_e3: i32,
}

/// Why a part of what a service could say is missing, or older than it should be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct WeatherGap {
    /// `forecast`, `observation` or `alerts`.
    #[schema(max_length = 20, example = "forecast")]
    pub part: &'static str,
    #[schema(max_length = 300, example = "The weather service did not answer in time.")]
    pub why: String,
}

/// What one service says of one place.
#[derive(Debug, Default)]
pub struct ServiceReport {
    pub provider: &'static str,
    pub reported: Reported,
    /// Numbers of the fetches behind it.
    pub fetches: Vec<i64>,
    pub gaps: Vec<WeatherGap>,
    /// The station whose measurements these are.
    pub station: Option<String>,
}

/// Rain that fell within a day, as far as it was measured.
#[derive(Debug)]
pub struct Fallen {
    pub provider: &'static str,
    pub basis: &'static str,
    pub station: Option<String>,
    pub total: domain::weather::value::Billionths,
    pub wettest_hour: domain::weather::value::Billionths,
    pub covered_s: i64,
    pub fetch: i64,
}

/// A service that says something about a place.
pub trait Service: Debug + Send + Sync {
    fn name(&self) -> &'static str;

    /// All that is known, with gaps where it is not. It never fails: what fails is a gap.
    fn report<'a>(&'a self, store: &'a Store, place: Place, patience: Patience) -> BoxFuture<'a, ServiceReport>;

    /// Rain in the 24 hours after a moment that lies further back.
    fn fallen<'a>(&'a self, store: &'a Store, place: Place, from: Instant) -> BoxFuture<'a, Option<Fallen>>;

    /// How the service has answered lately.
    fn seen(&self) -> Seen;

    /// What of its answers could not be read.
    fn unread(&self) -> Vec<Unread>;
}

/// What a round in the background did.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub struct Round {
    pub places: usize,
    pub gaps: usize,
    pub after: usize,
    pub purged: u64,
}

/// The services that are configured; none when the operator has not asked for any.
#[derive(Debug, Clone, Default)]
pub struct Services {
    all: Vec<Arc<dyn Service>>,
    /// What answers is a stand-in on this machine, so that nothing it says is weather.
    sample: bool,
    /// When the last round in the background ended, and how.
    last_round: Arc<Mutex<Option<(Instant, Round)>>>,
}

impl Place {
    /// From degrees, to the nearest thousandth.
    #[expect(clippy::cast_possible_truncation, reason = "degrees are checked to lie within 180 when they are written")]
    pub fn new(latitude: f64, longitude: f64) -> Self {
        Self { latitude_e3: (latitude * 1000.0).round() as i32, longitude_e3: (longitude * 1000.0).round() as i32 }
    }

    /// Latitude and longitude in degrees.
    pub fn degrees(self) -> (f64, f64) {
        (f64::from(self.latitude_e3) / 1000.0, f64::from(self.longitude_e3) / 1000.0)
    }

    /// `38.97,-76.5`: no zeros at the end, which the public service would answer with a redirect.
    pub fn text(self) -> String {
        format!("{},{}", degrees(self.latitude_e3), degrees(self.longitude_e3))
    }

    pub fn latitude(self) -> String {
        degrees(self.latitude_e3)
    }

    pub fn longitude(self) -> String {
        degrees(self.longitude_e3)
    }
}

fn degrees(thousandths: i32) -> String {
    let sign = if thousandths < 0 { "-" } else { "" };
    let magnitude = thousandths.unsigned_abs();
    let text = format!("{sign}{}.{:03}", magnitude / 1000, magnitude % 1000);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

impl Services {
    /// None at all.
    pub fn off() -> Self {
        Self::default()
    }

    /// The services that the operator configured, or why they cannot be used.
    pub fn configured(config: &config::Weather, clock: &Arc<dyn Clock>) -> Result<Self, String> {
        let mut services: Vec<Arc<dyn Service>> = Vec::new();
        let proxy = config.weather_proxy.as_deref().map(base::check_proxy).transpose()?;
        if let Some(agent) = config.agent()? {
            let base = base::check(&config.weather_url, base::Host::PublicService, config.weather_stand_in)?;
            let client = client::Client::new(base, &agent, proxy.as_ref(), None)?;
            services.push(Arc::new(nws::Nws::new(client, Arc::clone(clock))));
            if let Some((url, key)) = config.second()? {
                let base = base::check(url, base::Host::Operators, config.weather_stand_in)?;
                let key = Some(("apikey".to_owned(), key.to_owned()));
                let client = client::Client::new(base, &agent, proxy.as_ref(), key)?;
                services.push(Arc::new(open_meteo::OpenMeteo::new(client, Arc::clone(clock))));
            }
        }
        Ok(Self { all: services, sample: config.weather_stand_in, ..Self::default() })
    }

    pub fn are_off(&self) -> bool {
        self.all.is_empty()
    }

    /// Whether what they say is made up, as in a demonstration.
    pub fn is_sample(&self) -> bool {
        self.sample
    }

    pub fn all(&self) -> &[Arc<dyn Service>] {
        &self.all
    }

    pub fn last_round(&self) -> Option<(Instant, Round)> {
        *self.last_round.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub fn note_round(&self, at: Instant, round: Round) {
        *self.last_round.lock().unwrap_or_else(PoisonError::into_inner) = Some((at, round));
    }

    /// What every service says, all asked at once, until a person has waited long enough.
    pub async fn report(&self, store: &Store, place: Place) -> Vec<ServiceReport> {
        self.report_within(store, place, Patience::Until(time::Instant::now() + PERSON_WAITS)).await
    }

    pub async fn report_within(&self, store: &Store, place: Place, patience: Patience) -> Vec<ServiceReport> {
        futures_util::future::join_all(self.all.iter().map(|service| service.report(store, place, patience))).await
    }

    /// What a decision about work that begins at `at` may know beside what the request says. Of now, the services are asked
    /// where the request leaves something open; of a moment that has been, what was known then is taken from the book.
    pub async fn provided(&self, store: &Store, place: Place, asked: &Weather, at: Instant, now: Instant) -> Provided {
        let patience = if is_asked(asked, at, now) {
            Patience::Until(time::Instant::now() + PERSON_WAITS)
        } else {
            Patience::AsKnownAt(at)
        };
        let said = self.report_within(store, place, patience).await;
        provided(&said, patience, at)
    }
}

/// Whether services are asked about work at a moment: it is now, and the request leaves something open.
fn is_asked(asked: &Weather, at: Instant, now: Instant) -> bool {
    is_now(at, now) && asked.has_gaps()
}

/// Whether a moment is now, as far as clocks agree.
pub fn is_now(at: Instant, now: Instant) -> bool {
    now.since(at).abs() <= crate::clock::CLOCKS_DIFFER
}

/// The services' words of an hour together: what the first leaves open, the second may say, and what stops in either of them
/// stops. Where only the book was looked into, a service was asked if it holds an answer: that nothing is kept of a moment of long
/// ago says nothing about its weather.
pub fn provided(said: &[ServiceReport], patience: Patience, at: Instant) -> Provided {
    let mut provided = Provided::default();
    for said in said {
        provided.weather = provided.weather.joined(&said.reported.weather(at, at));
        provided.fetches.extend(&said.fetches);
    }
    provided.fetches.sort_unstable();
    provided.fetches.dedup();
    let now = matches!(patience, Patience::Until(_)) && !said.is_empty();
    if now || !provided.fetches.is_empty() {
        provided.asked = ServiceAsked::Yes;
    }
    provided
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_written_without_zeros_at_the_end() {
        assert_eq!(Place::new(28.5384, -81.3789).text(), "28.538,-81.379");
        assert_eq!(Place::new(38.5, -77.0).text(), "38.5,-77");
        assert_eq!(Place::new(-0.0004, 0.0).text(), "0,0");
        assert_eq!(Place::new(-0.25, 179.9999).text(), "-0.25,180");
    }
}
