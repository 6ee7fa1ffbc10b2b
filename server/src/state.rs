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
    pub law: Arc<Lawbook>,
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
