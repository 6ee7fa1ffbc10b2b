//! Which versions of rule sets were met, held against the journal.

use std::collections::BTreeMap;

use serde_json::Value;
use sqlx::SqliteConnection;

use crate::store::{self, verify::Entry};

/// What the journal says was met: whether it counted from then on, by code and hash.
#[derive(Debug, Default)]
pub struct Met {
    versions: BTreeMap<(String, String), bool>,
}

impl Met {
    /// Notes what a start met.
    pub fn note(&mut self, entry: &Entry, payload: &Value) {
        if entry.act != "rule_set.met" {
            return;
        }
        for version in payload["versions"].as_array().into_iter().flatten() {
            let text = |name: &str| version[name].as_str().unwrap_or_default().to_owned();
            *self.versions.entry((text("code"), text("hash"))).or_default() |= version["first"] == true;
        }
    }

    /// A version, or a use that nobody gave a word for, is there because a start met it: nothing else writes one.
    pub async fn check(&self, connection: &mut SqliteConnection, faults: &mut Vec<String>) -> Result<(), sqlx::Error> {
        let mut missing = self.versions.clone();
        for (code, hash, first) in store::rule_sets::met(connection).await? {
            let named = (code, hash);
            missing.remove(&named);
            let told = self.versions.get(&named).copied();
            let (code, hash) = named;
            match told {
                None => faults.push(format!("the version {hash} of rule set {code} is in no entry of the journal")),
                Some(false) if first => {
                    faults.push(format!(
                        "rule set {code} counts by the version {hash}, of which the journal does not say so"
                    ));
                }
                Some(_) => {}
            }
        }
        let gone = missing.into_keys();
        faults
            .extend(gone.map(|(code, hash)| format!("the version {hash} of rule set {code}, which was met, is gone")));
        Ok(())
    }
}
