//! Which versions of rule sets were met, held against the journal.

use std::collections::{BTreeMap, BTreeSet};

use serde::Deserialize;
use serde_json::Value;
use sqlx::SqliteConnection;

use crate::{
    secret::sha256,
    store::{self, verify::Entry},
};

/// What the journal says was met: whether it counted from then on, by code and hash.
#[derive(Debug, Default)]
pub struct Met {
    versions: BTreeMap<(String, String), bool>,
    /// The rule sets under which decisions were made, by hash and code.
    pub decided_under: BTreeSet<(String, String)>,
}

/// What a decision says of the rule sets that it was made under.
#[derive(Deserialize)]
struct Under {
    #[serde(default)]
    rule_sets: Vec<RuleSet>,
}

#[derive(Deserialize)]
struct RuleSet {
    code: String,
    hash: Option<String>,
}

impl Met {
    /// Goes on from the rule sets of which an earlier run knows that decisions were made under them.
    pub fn after(decided_under: BTreeSet<(String, String)>) -> Self {
        Self { decided_under, ..Self::default() }
    }

    /// Notes what a start met.
    pub fn note(&mut self, entry: &Entry, payload: &Value) {
        let under = entry.decision.as_deref().and_then(|decision| serde_json::from_str::<Under>(decision).ok());
        for set in under.into_iter().flat_map(|under| under.rule_sets) {
            self.decided_under.extend(set.hash.map(|hash| (hash, set.code)));
        }
        if entry.act != "rule_set.met" {
            return;
        }
        for version in payload["versions"].as_array().into_iter().flatten() {
            let text = |name: &str| version[name].as_str().unwrap_or_default().to_owned();
            *self.versions.entry((text("code"), text("hash"))).or_default() |= version["first"] == true;
        }
    }

    /// Every text that a decision was made under is there once, under its own hash, and there is no other.
    async fn texts(&self, connection: &mut SqliteConnection, faults: &mut Vec<String>) -> Result<(), sqlx::Error> {
        let mut missing = self.decided_under.clone();
        for (hash, code, text) in store::rule_sets::all_texts(connection).await? {
            if sha256(&text) != hash {
                faults.push(format!("the text of rule set {code} differs from its hash {hash}"));
            }
            let named = (hash, code);
            if !missing.remove(&named) {
                faults.push(format!("no decision was made under the text {} of rule set {}", named.0, named.1));
            }
        }
        let gone = missing
            .into_iter()
            .map(|(hash, code)| format!("the text {hash} of rule set {code} is gone, under which decisions were made"));
        faults.extend(gone);
        Ok(())
    }

    /// A version, or a use that nobody gave a word for, is there because a start met it: nothing else writes one.
    pub async fn check(&self, connection: &mut SqliteConnection, faults: &mut Vec<String>) -> Result<(), sqlx::Error> {
        self.texts(&mut *connection, faults).await?;
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
