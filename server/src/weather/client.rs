//! Asking a weather service politely: few requests at once, three timeouts, and a retry only where one
//! can help.

use std::{fmt, future::Future, pin::pin, time::Duration};

use domain::time::Instant;
use jiff::SignedDuration;
use reqwest::{
    Url, header,
    redirect::{Attempt, Policy},
};
use tokio::{
    sync::{Semaphore, SemaphorePermit},
    time,
};

use super::{body, breaker::Breaker, heads::is_same_question};
use crate::clock::Clock;

const CONNECT: Duration = Duration::from_secs(3);
const READ: Duration = Duration::from_secs(5);
const WHOLE: Duration = Duration::from_secs(10);
const AT_ONCE: usize = 4;
/// Whoever is not answered by then goes on waiting aside, so that slow places do not keep the turns of the others.
const SLOW: Duration = Duration::from_secs(1);
/// So many wait aside.
const ASIDE: usize = 8;
const TRIES: u32 = 3;
/// Whoever is cut off sooner than this by the asker's own deadline has not failed.
const FAIR: Duration = Duration::from_secs(1);
/// Whoever asked too often waits at least this long.
const TOO_OFTEN: Duration = Duration::from_secs(5);
const HOPS: usize = 3;
/// Whoever wants to be left alone for longer is asked once an hour all the same: what a service says stands between the lawn and
/// the weather.
const AGAIN_AT_MOST: SignedDuration = SignedDuration::from_hours(1);

/// A way to one host.
pub struct Client {
    base: Url,
    http: reqwest::Client,
    /// Sent with every request and kept nowhere.
    secret: Option<(String, String)>,
    few: Semaphore,
    aside: Semaphore,
    pub breaker: Breaker,
}

impl fmt::Debug for Client {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Client")
            .field("base", &self.base.as_str())
            .field("breaker", &self.breaker)
            .finish_non_exhaustive()
    }
}

/// By what a copy is recognised: the service's own words, given back exactly as they came.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Validators {
    pub etag: Option<String>,
    pub last_modified: Option<String>,
}

/// An answer that can be used.
#[derive(Debug)]
pub enum FetchedDocument {
    Document {
        body: Vec<u8>,
        content_type: String,
        validators: Validators,
    },
    /// What is kept still holds.
    NotModified,
}

/// Why there is none.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Failure {
    Timeout,
    Connect,
    Status {
        status: u16,
        kind: Option<String>,
        /// In so many seconds one may ask again, by the service's own word.
        again_in: Option<u32>,
    },
    BadBody(&'static str),
    /// Nobody asks for now.
    Resting,
    /// So many others asked that this question did not get its turn. The host is not at fault.
    Crowded,
    /// The book knows that a later question failed, and keeps no more about it.
    AskedAgain,
}

/// How a request went, for the record.
#[derive(Debug)]
pub struct Outcome {
    pub answer: Result<FetchedDocument, Failure>,
    pub status: Option<u16>,
    pub attempts: u32,
    /// The last attempt was cut off by the deadline before the host had a fair time to answer.
    hurried: bool,
}

impl Failure {
    /// How it is stored.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Timeout => "timeout",
            Self::Connect => "connect",
            Self::Status { .. } => "http_error",
            Self::BadBody(_) => "bad_body",
            Self::Resting | Self::Crowded | Self::AskedAgain => "resting",
        }
    }

    pub fn is_missing(&self) -> bool {
        matches!(self, Self::Status { status: 404, .. })
    }

    /// A forecast that has run out stays so until the office makes a new one: asking again is no help.
    fn is_expired(&self) -> bool {
        matches!(self, Self::Status { kind: Some(kind), .. } if kind.ends_with("ForecastGridExpired"))
    }

    /// How long the service wants to be left alone, as far as one goes along with that.
    pub fn again_in(&self) -> SignedDuration {
        match self {
            Self::Status { again_in: Some(seconds), .. } => {
                SignedDuration::from_secs(i64::from(*seconds)).min(AGAIN_AT_MOST)
            }
            _ => SignedDuration::ZERO,
        }
    }

    fn may_pass(&self) -> bool {
        match self {
            Self::Timeout | Self::Connect => true,
            Self::Status { status, .. } => matches!(status, 408 | 429 | 500 | 502 | 503 | 504) && !self.is_expired(),
            Self::BadBody(_) | Self::Resting | Self::Crowded | Self::AskedAgain => false,
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Timeout => f.write_str("did not answer in time"),
            Self::Connect => f.write_str("could not be reached"),
            Self::Status { .. } if self.is_expired() => f.write_str("has only a forecast that has run out"),
            Self::Status { status: 404, .. } => f.write_str("does not know the place"),
            Self::Status { status, .. } => write!(f, "answered {status}"),
            Self::BadBody(what) => write!(f, "answered with {what}"),
            Self::Resting => f.write_str("failed several times and is not asked for a minute"),
            Self::Crowded => f.write_str("could not be asked in time, because this server had many other questions"),
            Self::AskedAgain => f.write_str("did not answer when it was asked again"),
        }
    }
}

impl Client {
    /// `agent` names the application and a contact; the public service refuses whoever does not say.
    /// `proxy` is the operator's; the environment's is not taken, so that nothing but the configuration says who is asked.
    pub fn new(base: Url, agent: &str, proxy: Option<&Url>, secret: Option<(String, String)>) -> Result<Self, String> {
        let origin = base.origin();
        let policy = Policy::custom(move |attempt: Attempt<'_>| {
            if attempt.previous().len() > HOPS {
                attempt.error("too many redirects")
            } else if attempt.url().origin() == origin
                && attempt.previous().first().is_some_and(|asked| is_same_question(asked, attempt.url()))
            {
                attempt.follow()
            } else {
                // Another host, or another place's document, is nobody's to send us to; the redirect itself is then the
                // answer, and no document.
                attempt.stop()
            }
        });
        let mut http = reqwest::Client::builder()
            .user_agent(agent)
            .connect_timeout(CONNECT)
            .read_timeout(READ)
            .timeout(WHOLE)
            .no_proxy()
            .redirect(policy);
        if let Some(proxy) = proxy {
            http = http.proxy(reqwest::Proxy::all(proxy.clone()).map_err(|error| error.to_string())?);
        }
        let http = http.build().map_err(|error| error.to_string())?;
        Ok(Self {
            base,
            http,
            secret,
            few: Semaphore::new(AT_ONCE),
            aside: Semaphore::new(ASIDE),
            breaker: Breaker::default(),
        })
    }

    /// Asks for a path, again where that can help, until the deadline.
    pub async fn get(&self, path: &str, known: &Validators, deadline: time::Instant, clock: &dyn Clock) -> Outcome {
        let mut outcome = Outcome { answer: Err(Failure::Resting), status: None, attempts: 0, hurried: false };
        if !self.breaker.lets(clock.now()) {
            return outcome;
        }
        let heard = self.breaker.heard();
        for attempt in 1..=TRIES {
            let Ok(Ok(turn)) = time::timeout_at(deadline, self.few.acquire()).await else {
                if attempt == 1 {
                    outcome.answer = Err(Failure::Crowded);
                    return outcome;
                }
                break;
            };
            outcome.attempts = attempt;
            let began = time::Instant::now();
            let tried = time::timeout_at(deadline, self.in_turn(turn, self.once(path, known, clock.now()))).await;
            outcome.hurried = tried.is_err() && began.elapsed() < FAIR;
            (outcome.answer, outcome.status) = tried.unwrap_or((Err(Failure::Timeout), None));
            let Err(failure) = &outcome.answer else { break };
            let wait = pause(attempt, failure).max(failure.again_in().unsigned_abs());
            if !failure.may_pass() || attempt == TRIES || time::Instant::now() + wait >= deadline {
                break;
            }
            time::sleep(wait).await;
        }
        self.note(path, &outcome, heard, clock.now());
        outcome
    }

    /// Waits for an answer in its turn, and longer than others may be kept waiting for, aside.
    async fn in_turn<T>(&self, turn: SemaphorePermit<'_>, asked: impl Future<Output = T>) -> T {
        let mut asked = pin!(asked);
        if let Ok(answer) = time::timeout(SLOW, &mut asked).await {
            return answer;
        }
        let _aside = tokio::select! {
            answer = &mut asked => return answer,
            aside = self.aside.acquire() => aside,
        };
        drop(turn);
        asked.await
    }

    fn note(&self, path: &str, outcome: &Outcome, heard: u64, now: Instant) {
        match &outcome.answer {
            Ok(_) => self.breaker.succeeded(now),
            Err(failure) if matches!(outcome.status, Some(403 | 429)) => {
                tracing::warn!(%failure, path, "a weather service does not want to be asked; is the contact configured?");
                self.breaker.refused(now, failure.again_in());
            }
            // The host works; it is this place that it does not know, or its forecast that has run out.
            Err(failure) if failure.is_missing() || failure.is_expired() => {
                tracing::info!(%failure, path, "no document from a weather service");
                self.breaker.answered();
            }
            Err(Failure::Timeout) if outcome.hurried => {
                tracing::info!(path, "a weather service was asked too late to answer in time");
            }
            Err(failure) => {
                tracing::warn!(%failure, path, attempts = outcome.attempts, "a weather service failed");
                self.breaker.failed(kind(path, failure), heard, now);
            }
        }
    }

    async fn once(
        &self,
        path: &str,
        known: &Validators,
        now: Instant,
    ) -> (Result<FetchedDocument, Failure>, Option<u16>) {
        let Ok(mut url) = self.base.join(path) else { return (Err(Failure::BadBody("a path that is none")), None) };
        if let Some((name, value)) = &self.secret {
            url.query_pairs_mut().append_pair(name, value);
        }
        let mut request = self.http.get(url).header(header::ACCEPT, "application/geo+json, application/json");
        if let Some(etag) = &known.etag {
            request = request.header(header::IF_NONE_MATCH, etag);
        }
        if let Some(modified) = &known.last_modified {
            request = request.header(header::IF_MODIFIED_SINCE, modified);
        }
        match request.send().await {
            Ok(response) => {
                let status = response.status();
                (body::read(response, now, path).await, Some(status.as_u16()))
            }
            Err(error) => (Err(of_transport(&error)), None),
        }
    }
}

/// What failures are counted by. The lists of alerts are one thing to the service, and when it alone fails, the forecast must
/// still be asked for. So are places that do not answer in time, of whichever service: however many they are, others may.
fn kind<'p>(path: &'p str, failure: &Failure) -> &'p str {
    let first = path.trim_start_matches('/').split(['/', '?']).next().unwrap_or_default();
    if first == "alerts" || *failure == Failure::Timeout { first } else { path }
}

fn of_transport(error: &reqwest::Error) -> Failure {
    // A host that cannot be reached in time is not there, whatever place it is asked about.
    if error.is_connect() {
        Failure::Connect
    } else if error.is_timeout() {
        Failure::Timeout
    } else if error.is_redirect() {
        Failure::BadBody("redirects without end")
    } else {
        Failure::Connect
    }
}

/// Half a second, doubled each time, the second half of it at random, so that many who failed together do not come back
/// together.
fn pause(attempt: u32, failure: &Failure) -> Duration {
    let cap = 250_u64 << attempt.min(6);
    let wait = Duration::from_millis(cap / 2 + u64::from(random()) % (cap / 2));
    if matches!(failure, Failure::Status { status: 429, .. }) { wait + TOO_OFTEN } else { wait }
}

/// A number nobody can foresee; zero if the system has none, which only makes waits equal.
pub fn random() -> u32 {
    let mut bytes = [0_u8; 4];
    getrandom::fill(&mut bytes).map_or(0, |()| u32::from_le_bytes(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slow_places_of_either_service_count_as_one() {
        let two = |first: &'static str, second: &'static str, failure: &Failure| {
            kind(first, failure) == kind(second, failure)
        };
        let paths = [
            ("/points/38.1,-76.5", "/points/38.2,-76.5"),
            ("/v1/forecast?latitude=38.1&longitude=-76.5", "/v1/forecast?latitude=38.2&longitude=-76.5"),
        ];
        for (first, second) in paths {
            assert!(two(first, second, &Failure::Timeout), "{first}");
            assert!(!two(first, second, &Failure::Connect), "a host that is not there is so at every place: {first}");
        }
        assert!(!two("/points/38.1,-76.5", "/gridpoints/MLB/26,68", &Failure::Timeout));
        assert!(two("/alerts/active/zone/FLC095", "/alerts/active/zone/FLZ045", &Failure::Connect));
    }
}
