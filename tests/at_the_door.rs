//! What tests of the door need: a server that believes a proxy, and somebody who shows the password again.

use std::sync::Arc;

use serde_json::json;
use server::{clock::RandomIds, config, throttle::Throttle};

use crate::{PASSWORD, Reply, TODAY, TestApp, User, embedded_law};

impl TestApp {
    /// A server with an empty book that believes what a proxy says of addresses.
    pub async fn behind_a_proxy() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let (weather, ids) = (config::Weather::default(), Arc::new(RandomIds));
        Self::open_with(folder, TODAY, embedded_law(), weather, ids, Throttle::new(true)).await
    }
}

impl User {
    /// Shows the password again, as what lets somebody in or shuts somebody out asks.
    pub async fn confirm(&self) -> Reply {
        self.put("/api/v1/sessions/current/confirmation", &json!({ "password": PASSWORD })).await.expect(200)
    }
}
