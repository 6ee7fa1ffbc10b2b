//! What handlers share.

use std::{
    collections::HashMap,
    sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock},
};

use domain::{law::Lawbook, time::Instant};

use crate::{
    clock::{Clock, IdSource},
    connections::Connections,
    paging::CursorKey,
    schema::Schemas,
    signing::SigningKey,
    space::Space,
    store::Store,
    throttle::{Throttle, budgets::Budgets},
    weather::Services,
};

/// What the server is made of.
#[derive(Debug)]
pub struct Deps {
    pub store: Store,
    pub clock: Arc<dyn Clock>,
    pub ids: Arc<dyn IdSource>,
    /// The rule sets that come with the program and with the operator's folder. What of them counts is the book's to say:
    /// `Inner::law`.
    pub offered_law: RwLock<Arc<Lawbook>>,
    pub cursors: CursorKey,
    pub signing: SigningKey,
    pub throttle: Throttle,
    pub weather: Services,
}

/// Everything a handler can reach. Cheap to clone.
#[derive(Debug, Clone)]
pub struct App(pub(crate) Arc<Inner>);

#[derive(Debug)]
pub struct Inner {
    pub(crate) deps: Deps,
    pub schemas: Schemas,
    pub token_uses: TokenUses,
    /// What each caller may still ask for.
    pub budgets: Budgets,
    pub connections: Arc<Connections>,
    /// What is left on the disks.
    pub space: Arc<Space>,
}

/// When each token was used last. In memory, because a read must not wait for a write; written down once a minute and when somebody
/// looks. After a restart what was written last counts.
#[derive(Debug, Default)]
pub struct TokenUses(Mutex<HashMap<String, TokenUse>>);

#[derive(Debug, Clone, Copy)]
struct TokenUse {
    at: i64,
    written: bool,
}

impl TokenUses {
    /// Tokens that are remembered at most. Those of which the use is written down are forgotten first.
    const MOST: usize = 10_000;

    fn noted(&self) -> MutexGuard<'_, HashMap<String, TokenUse>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub fn last(&self, digest: &str) -> Option<i64> {
        self.noted().get(digest).map(|used| used.at)
    }

    pub fn note(&self, digest: String, now: Instant) {
        let mut noted = self.noted();
        if noted.len() >= Self::MOST {
            noted.retain(|_, used| !used.written);
        }
        noted.insert(digest, TokenUse { at: now.millis(), written: false });
    }

    /// What is not written down yet, which is then taken as written.
    pub fn take(&self) -> Vec<(String, i64)> {
        let mut noted = self.noted();
        let fresh = noted.iter_mut().filter(|(_, used)| !used.written);
        fresh
            .map(|(digest, used)| {
                used.written = true;
                (digest.clone(), used.at)
            })
            .collect()
    }
}

impl Inner {
    /// The law that counts. Whoever asks it several things keeps it for all of them, because the owner may confirm a new version
    /// between two.
    pub fn law(&self) -> Arc<Lawbook> {
        self.deps.store.law().now()
    }

    /// The rule sets that come with the program and with the operator's folder, as it was read last.
    pub fn offered_law(&self) -> Arc<Lawbook> {
        Arc::clone(&self.deps.offered_law.read().unwrap_or_else(PoisonError::into_inner))
    }

    pub fn offer_law(&self, law: Arc<Lawbook>) {
        *self.deps.offered_law.write().unwrap_or_else(PoisonError::into_inner) = law;
    }
}

impl std::ops::Deref for Inner {
    type Target = Deps;

    fn deref(&self) -> &Deps {
        &self.deps
    }
}

impl std::ops::Deref for App {
    type Target = Inner;

    fn deref(&self) -> &Inner {
        &self.0
    }
}
