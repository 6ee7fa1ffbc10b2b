//! The connections that are open, and what each may take its time for: a head, a pause, an answer that is not read. There are so many and
//! no more, of one address and in all; the next one takes the place of the one that has kept the server waiting longest, so that whoever
//! holds lines open and says nothing keeps nobody out.

mod watched;

use std::{
    collections::HashMap,
    net::{IpAddr, SocketAddr},
    sync::{Arc, Mutex, MutexGuard, PoisonError},
    task::Waker,
    time::Duration,
};

use tokio::time::Instant;

pub use self::watched::Gate;
use crate::{config::Limits, metrics::Metrics, throttle::network};

/// All that are open, by the other end's address and port.
#[derive(Debug)]
pub struct Connections {
    limits: Limits,
    /// All come from the proxy, so none is told by its address.
    behind_proxy: bool,
    metrics: Arc<Metrics>,
    open: Mutex<HashMap<SocketAddr, Arc<Line>>>,
}

/// One connection.
#[derive(Debug)]
struct Line(Mutex<State>);

#[derive(Debug)]
struct State {
    /// Requests that are being answered on it.
    at_work: u32,
    /// When something last came or went.
    moved_at: Instant,
    /// Since when a head is on its way. From the beginning: who connects has something to say.
    head_since: Option<Instant>,
    /// By a version of the protocol that says other things between requests, too.
    is_multiplexed: bool,
    is_ended: bool,
    reader: Option<Waker>,
}

impl Line {
    fn new() -> Self {
        let now = Instant::now();
        Self(Mutex::new(State {
            at_work: 0,
            moved_at: now,
            head_since: Some(now),
            is_multiplexed: false,
            is_ended: false,
            reader: None,
        }))
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn end(&self) {
        let mut state = self.state();
        state.is_ended = true;
        if let Some(reader) = state.reader.take() {
            reader.wake();
        }
    }
}

impl State {
    /// Until when the other end may say nothing; for ever while it waits for an answer.
    fn patience(&self, limits: &Limits) -> Option<(Instant, &'static str)> {
        match self.head_since {
            _ if self.at_work > 0 => None,
            Some(since) if !self.is_multiplexed => Some((since + limits.head(), "head")),
            _ => Some((self.moved_at + limits.idle(), "idle")),
        }
    }
}

/// A request that is being answered on a connection, until it is dropped.
#[derive(Debug)]
pub struct AtWork(Option<Arc<Line>>);

impl Drop for AtWork {
    fn drop(&mut self) {
        if let Some(line) = &self.0 {
            let mut state = line.state();
            state.at_work = state.at_work.saturating_sub(1);
            state.moved_at = Instant::now();
        }
    }
}

impl Connections {
    pub fn new(limits: &Limits, behind_proxy: bool, metrics: Arc<Metrics>) -> Arc<Self> {
        Arc::new(Self { limits: limits.clone(), behind_proxy, metrics, open: Mutex::default() })
    }

    fn open(&self) -> MutexGuard<'_, HashMap<SocketAddr, Arc<Line>>> {
        self.open.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How long a head, and the agreement on TLS before it, may take.
    pub fn head(&self) -> Duration {
        self.limits.head()
    }

    /// A request has come over the connection from there.
    pub fn begins(&self, from: Option<SocketAddr>, is_multiplexed: bool) -> AtWork {
        let line = from.and_then(|from| self.open().get(&from).cloned());
        if let Some(line) = &line {
            let mut state = line.state();
            state.at_work += 1;
            state.head_since = None;
            state.is_multiplexed = is_multiplexed;
        }
        AtWork(line)
    }

    /// Takes a connection in, if need be in the place of one that keeps the server waiting. Nothing where all are at work.
    fn take_in(&self, from: SocketAddr) -> Option<Arc<Line>> {
        let mut open = self.open();
        let network_of = |peer: &SocketAddr| network(peer.ip());
        let here = network(from.ip());
        let of_here = open.keys().filter(|peer| network_of(peer) == here).count();
        if !self.behind_proxy && of_here >= self.limits.connections_per_address {
            make_room(&mut open, &self.metrics, |peer| network_of(peer) == here)?;
        } else if open.len() >= self.limits.connections {
            let largest = largest(&open);
            make_room(&mut open, &self.metrics, |peer| self.behind_proxy || network_of(peer) == largest)
                .or_else(|| make_room(&mut open, &self.metrics, |_| true))?;
        }
        let line = Arc::new(Line::new());
        open.insert(from, Arc::clone(&line));
        self.metrics.connections(open.len());
        Some(line)
    }

    fn let_go(&self, from: SocketAddr, line: &Arc<Line>) {
        let mut open = self.open();
        // Its place may have been given to another one, even of the same address and port.
        if open.get(&from).is_some_and(|there| Arc::ptr_eq(there, line)) {
            open.remove(&from);
            self.metrics.connections(open.len());
        }
    }
}

/// The address that has most of them.
fn largest(open: &HashMap<SocketAddr, Arc<Line>>) -> IpAddr {
    let mut counts: HashMap<IpAddr, usize> = HashMap::new();
    for peer in open.keys() {
        *counts.entry(network(peer.ip())).or_default() += 1;
    }
    let most = counts.into_iter().max_by_key(|(_, count)| *count);
    most.map_or(IpAddr::V4(std::net::Ipv4Addr::UNSPECIFIED), |(address, _)| address)
}

/// Ends the one among these that has been waited for longest.
fn make_room(
    open: &mut HashMap<SocketAddr, Arc<Line>>,
    metrics: &Metrics,
    among: impl Fn(&SocketAddr) -> bool,
) -> Option<()> {
    let waited_for = |(peer, line): (&SocketAddr, &Arc<Line>)| {
        let state = line.state();
        (state.at_work == 0).then(|| (state.head_since.unwrap_or(state.moved_at), *peer))
    };
    let (_, longest) = open.iter().filter(|(peer, _)| among(peer)).filter_map(waited_for).min()?;
    open.remove(&longest)?.end();
    metrics.connection_ended("crowded");
    Some(())
}

/// Files that the server opens beside its connections: the book, its log, the readers', copies of it.
const OTHER_FILES: u64 = 128;

/// Lets this process open as many files as the connections need, and says how many there can be of them.
pub fn room_for(wanted: usize) -> usize {
    use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
    let needed = u64::try_from(wanted).unwrap_or(u64::MAX).saturating_add(OTHER_FILES);
    let now = getrlimit(Resource::Nofile);
    if now.current.is_none_or(|most| most >= needed) {
        return wanted;
    }
    let most = now.maximum.map_or(needed, |most| most.min(needed));
    let raised = setrlimit(Resource::Nofile, Rlimit { current: Some(most), maximum: now.maximum });
    let files = if raised.is_ok() { most } else { now.current.unwrap_or(most) };
    usize::try_from(files.saturating_sub(OTHER_FILES)).unwrap_or(wanted).clamp(1, wanted)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(host: u8, port: u16) -> SocketAddr {
        SocketAddr::from(([192, 0, 2, host], port))
    }

    fn connections(in_all: usize, per_address: usize, behind_proxy: bool) -> Arc<Connections> {
        let limits = Limits { connections: in_all, connections_per_address: per_address, ..Limits::default() };
        Connections::new(&limits, behind_proxy, Arc::default())
    }

    /// So much later that one moment is told from the other.
    async fn later() {
        tokio::time::sleep(Duration::from_millis(5)).await;
    }

    fn ended(line: &Line) -> bool {
        line.state().is_ended
    }

    #[tokio::test]
    async fn the_one_that_was_waited_for_longest_makes_room() {
        let all = connections(10, 2, false);
        let first = all.take_in(at(1, 1)).unwrap();
        later().await;
        let second = all.take_in(at(1, 2)).unwrap();
        let other = all.take_in(at(2, 1)).unwrap();
        later().await;
        let busy = all.begins(Some(at(1, 1)), false);
        let third = all.take_in(at(1, 3)).unwrap();
        assert!(!ended(&first) && ended(&second) && !ended(&other), "the first has a request at work");
        let busy_too = all.begins(Some(at(1, 3)), false);
        assert!(all.take_in(at(1, 4)).is_none(), "both are at work");
        assert!(all.take_in(at(2, 2)).is_some());
        drop((busy, busy_too));
        later().await;
        assert!(all.take_in(at(1, 4)).is_some());
        assert!(ended(&first) ^ ended(&third));
    }

    #[tokio::test]
    async fn in_all_the_address_with_most_makes_room() {
        let all = connections(4, 3, false);
        let lone = all.take_in(at(9, 1)).unwrap();
        later().await;
        let crowd: Vec<_> = (1..=3).map(|port| all.take_in(at(1, port)).unwrap()).collect();
        assert!(all.take_in(at(2, 1)).is_some());
        assert!(!ended(&lone) && crowd.iter().filter(|line| ended(line)).count() == 1);
        // Behind a proxy all have its address, and only the whole counts.
        let proxied = connections(4, 1, true);
        let lines: Vec<_> = (1..=4).map(|port| proxied.take_in(at(1, port)).unwrap()).collect();
        assert!(!lines.iter().any(|line| ended(line)));
        assert!(proxied.take_in(at(1, 5)).is_some() && lines.iter().filter(|line| ended(line)).count() == 1);
    }

    #[tokio::test]
    async fn patience_is_short_for_a_head_and_longer_for_a_pause() {
        let all = connections(4, 4, false);
        let line = all.take_in(at(1, 1)).unwrap();
        let why = || {
            let state = line.state();
            state.patience(&all.limits).map(|(until, why)| (until - state.moved_at, why))
        };
        assert_eq!(why(), Some((all.limits.head(), "head")));
        let work = all.begins(Some(at(1, 1)), false);
        assert_eq!(why(), None);
        later().await;
        drop(work);
        assert_eq!(why(), Some((all.limits.idle(), "idle")));
        let moved_at = line.state().moved_at;
        line.state().head_since = Some(moved_at);
        assert_eq!(why(), Some((all.limits.head(), "head")));
        line.state().is_multiplexed = true;
        assert_eq!(why(), Some((all.limits.idle(), "idle")));
    }
}
