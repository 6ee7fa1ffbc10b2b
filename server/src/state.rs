//! What handlers share.

use std::sync::Arc;

use domain::law::Lawbook;

use crate::{
    clock::{Clock, IdSource},
    paging::CursorKey,
    schema::Schemas,
    store::Store,
    throttle::Throttle,
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
    pub offered_law: Arc<Lawbook>,
    pub cursors: CursorKey,
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
}

impl Inner {
    /// The law that counts. Whoever asks it several things keeps it for all of them, because the owner may confirm a new version
    /// between two.
    pub fn law(&self) -> Arc<Lawbook> {
        self.deps.store.law().now()
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
