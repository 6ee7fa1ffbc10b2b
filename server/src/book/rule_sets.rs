//! Which version of each rule set counts: weighed at the start of the server against what this book counted by, and confirmed by the
//! owner once what it changes has been seen.

pub mod effect;
pub mod versions;

use std::{
    collections::{BTreeMap, HashMap},
    sync::Arc,
};

use domain::{
    actor::Actor,
    law::{Lawbook, RuleSet, RuleSetAbout},
    time::Instant,
};
use tracing::Instrument;

use crate::{
    book::{
        office,
        rule_sets::versions::{Fate, does_not_fit, weigh},
    },
    clock::IdSource,
    problem::{Kind, Problem},
    state::App,
    store::{
        self, Store,
        journal::JournalContext,
        rule_sets::{RuleSetUse, TakenHow},
    },
};

/// What the journal calls it when another version begins to count.
const COUNTED: &str = "rule_set.counted";

/// Takes in what the program and the operator's folder offer: what is new to this book counts from its first start on, another
/// version of what counts waits for the owner, unless there is nothing to look at. Gives the law that counts.
///
/// Only hashes are compared, so that a start without news costs one short statement.
pub async fn settle(
    store: &Store,
    offered: Arc<Lawbook>,
    ids: &Arc<dyn IdSource>,
    at: Instant,
) -> Result<Arc<Lawbook>, Problem> {
    let counting = store::rule_sets::counting(store.reader()).await?;
    let is_new = |set: &&RuleSet| !counting.contains_key(&set.about.code);
    let first: Vec<&RuleSet> = offered.rule_sets().iter().filter(is_new).collect();
    let other = |set: &&RuleSet| counting.get(&set.about.code).is_some_and(|hash| *hash != set.about.hash);
    let changed: Vec<&RuleSet> = offered.rule_sets().iter().filter(other).collect();
    if first.is_empty() && changed.is_empty() {
        return Ok(offered);
    }
    let (law, fates) = if changed.is_empty() {
        (Arc::clone(&offered), Vec::new())
    } else {
        let kept = kept(store, &counting, &changed).await?;
        let weighed = weigh(&offered, kept, &store::rule_sets::lists(store.reader()).await?);
        (weighed.law.map_or_else(|| Arc::clone(&offered), Arc::new), weighed.fates)
    };
    log(&offered, &fates);
    let taken: Vec<RuleSetUse> =
        fates.iter().filter_map(|(code, fate)| taken(&offered, code, *fate, ids, at)).collect();
    let version = |set: &RuleSet| (set.about.code.clone(), set.about.hash.clone(), set.text.clone());
    let met: Vec<_> = first.iter().chain(&changed).map(|set| version(set)).collect();
    let first: Vec<_> = first.iter().map(|set| (set.about.code.clone(), set.about.hash.clone())).collect();
    let work = store.write(move |connection| {
        Box::pin(async move {
            let met: Vec<_> = met.iter().map(|one| (one.0.as_str(), one.1.as_str(), one.2.as_str())).collect();
            store::rule_sets::meet(&mut *connection, &met, at).await?;
            let first: Vec<_> = first.iter().map(|(code, hash)| (code.as_str(), hash.as_str())).collect();
            store::rule_sets::insert_first(&mut *connection, &first, at).await?;
            for one in taken {
                store::rule_sets::insert(&mut *connection, &one).await?;
                let Some(id) = one.id else { continue };
                let deed = JournalContext { actor: None, at, act: COUNTED, subject: id.uuid() };
                store::journal::append(&mut *connection, deed, &serde_json::to_string(&one)?).await?;
            }
            Ok(())
        })
    });
    work.await?;
    Ok(law)
}

/// The texts by which changed rule sets counted, by code. One that is lost is an empty text, which nobody can read.
async fn kept(
    store: &Store,
    counting: &HashMap<String, String>,
    changed: &[&RuleSet],
) -> Result<versions::Texts, Problem> {
    let hash = |set: &&RuleSet| counting.get(&set.about.code).map(String::as_str);
    let hashes: Vec<&str> = changed.iter().filter_map(hash).collect();
    let mut texts = store::rule_sets::texts(store.reader(), &hashes).await?;
    let text = |set: &&RuleSet| {
        let found = counting.get(&set.about.code).and_then(|hash| texts.remove(hash));
        (set.about.code.clone(), found.unwrap_or_default())
    };
    Ok(changed.iter().map(text).collect())
}

/// What is written of a version that counts from now on; nothing for one that waits.
fn taken(offered: &Lawbook, code: &str, fate: Fate, ids: &Arc<dyn IdSource>, at: Instant) -> Option<RuleSetUse> {
    let how = match fate {
        Fate::Waits => return None,
        Fate::Same => TakenHow::Same,
        Fate::Unused => TakenHow::Unused,
        Fate::Unreadable => TakenHow::Unreadable,
    };
    let about = &offered.rule_set(code)?.about;
    let (code, hash) = (about.code.clone(), about.hash.clone());
    Some(RuleSetUse { id: Some(ids.next(at)), code, hash, how, person_id: None, since: at })
}

fn log(offered: &Lawbook, fates: &[(String, Fate)]) {
    for (code, fate) in fates {
        let hash = offered.rule_set(code).map(|set| set.about.hash.as_str());
        match fate {
            Fate::Waits => tracing::warn!(
                code,
                hash,
                "a new version of a rule set waits for the owner; the one before it goes on counting"
            ),
            Fate::Unreadable => tracing::warn!(
                code,
                hash,
                "the version of a rule set that counted cannot be read any more; the new one counts"
            ),
            Fate::Same => tracing::info!(code, hash, "a new version of a rule set has equal rules and counts"),
            Fate::Unused => tracing::info!(code, hash, "a new version of a rule set binds no property and counts"),
        }
    }
}

/// A rule set of which another version counts than the server has, by the new version.
pub fn waiting<'o>(offered: &'o Lawbook, law: &Lawbook) -> Vec<&'o RuleSetAbout> {
    let abouts = offered.rule_sets().iter().map(|set| &set.about);
    let waits = |about: &&RuleSetAbout| law.rule_set(&about.code).is_some_and(|set| set.about.hash != about.hash);
    abouts.filter(waits).collect()
}

/// Lets the version with this hash count from now on, for everything that the server does. Said again, it changes nothing.
pub async fn confirm(app: &App, actor: Actor, code: String, hash: String) -> Result<RuleSetUse, Problem> {
    let app = app.clone();
    // A caller that hangs up in between must not leave a version written and not taken.
    let work = async move {
        let _one = app.store.law().changing.lock().await;
        let law = app.law();
        let missing = || Problem::not_found("rule set");
        let (counts, new) = law.rule_set(&code).zip(app.offered_law.rule_set(&code)).ok_or_else(missing)?;
        if new.about.hash != hash {
            let detail = "This is not the version that waits now. Look at what the new one changes, and confirm that.";
            return Err(Problem::new(Kind::Conflict, detail));
        }
        if counts.about.hash == hash {
            return store::rule_sets::current(app.store.reader(), &code).await?.ok_or_else(missing);
        }
        let next = versions::mixed(&law, &BTreeMap::from([(code.clone(), new.text.clone())]));
        let next = next.map_err(|faults| does_not_fit(&faults))?;
        let at = app.clock.now();
        let id = app.ids.next(at);
        let one =
            RuleSetUse { id: Some(id), code, hash, how: TakenHow::Confirmed, person_id: Some(actor.person), since: at };
        let deed = JournalContext { actor: Some(actor), at, act: COUNTED, subject: id.uuid() };
        let done = office::change(&app, deed, move |connection| {
            Box::pin(async move {
                store::rule_sets::insert(connection, &one).await?;
                Ok(one)
            })
        });
        let done = done.await?;
        app.store.law().take(Arc::new(next));
        tracing::info!(code = done.code, hash = done.hash, "a new version of a rule set was confirmed and counts");
        Ok(done)
    };
    tokio::spawn(work.in_current_span()).await.map_err(|error| Problem::fault(&error))?
}
