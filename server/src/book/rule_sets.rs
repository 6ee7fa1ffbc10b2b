//! Which version of each rule set counts: weighed at the start of the server against what this book counted by, and confirmed by the
//! owner once what it changes has been seen.

pub mod effect;
pub mod versions;

use std::{
    collections::{BTreeMap, BTreeSet, HashMap},
    sync::Arc,
};

use domain::{
    actor::Actor,
    law::{Lawbook, RuleSet, RuleSetAbout},
    time::{Day, Instant},
};
use serde_json::json;
use sqlx::SqliteConnection;
use tracing::Instrument;
use uuid::Uuid;

use crate::{
    book::rule_sets::versions::{Fate, does_not_fit, weigh},
    clock::IdSource,
    problem::{Kind, Problem},
    secret::sha256,
    state::App,
    store::{
        self, Store,
        journal::JournalContext,
        rule_sets::{DecidedText, RuleSetUse, TakenHow},
    },
};

/// What the journal calls it when another version begins to count.
const COUNTED: &str = "rule_set.counted";
/// What it calls it when a start finds versions that this book has never had.
const MET: &str = "rule_set.met";
/// Such an entry is about no one rule set.
const MET_SUBJECT: Uuid = Uuid::from_u128(0x0000_0000_0000_7000_8000_0000_0000_0002);

/// Takes in what the operator's folder offers now, while the server is at work, as its start would.
pub async fn offer(app: &App, offered: Arc<Lawbook>) -> Result<(), Problem> {
    let _one = app.store.law().changing.lock().await;
    settle(&app.store, Arc::clone(&offered), &app.ids, app.clock.now()).await?;
    app.offer_law(offered);
    Ok(())
}

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
    let unknown: Vec<&RuleSet> = offered.rule_sets().iter().filter(is_new).collect();
    let other = |set: &&RuleSet| counting.get(&set.about.code).is_some_and(|hash| *hash != set.about.hash);
    let changed: Vec<&RuleSet> = offered.rule_sets().iter().filter(other).collect();
    if unknown.is_empty() && changed.is_empty() {
        store.law().take(Arc::clone(&offered), store.law().changed_at());
        ask_without(store, &offered).await?;
        return Ok(offered);
    }
    let (law, mut fates) = if changed.is_empty() {
        (Arc::clone(&offered), Vec::new())
    } else {
        let kept = kept(store, &counting, &changed).await?;
        let weighed = weigh(&offered, kept, &store::rule_sets::lists(store.reader()).await?);
        (weighed.law.map_or_else(|| Arc::clone(&offered), Arc::new), weighed.fates)
    };
    let decided = decided(store, &unknown).await?;
    let is_new_to = |set: &&RuleSet| decided.get(&set.about.code).is_some_and(|texts| is_news(set, texts));
    let (upgraded, first): (Vec<&RuleSet>, Vec<&RuleSet>) = unknown.iter().copied().partition(is_new_to);
    fates.extend(upgraded.iter().map(|set| (set.about.code.clone(), Fate::Upgraded)));
    log(&offered, &fates);
    let version = |set: &RuleSet| (set.about.code.clone(), set.about.hash.clone(), set.text.clone());
    let news = News {
        met: unknown.iter().chain(&changed).map(|set| version(set)).collect(),
        first: first.iter().map(|set| (set.about.code.clone(), set.about.hash.clone())).collect(),
        taken: fates.iter().filter_map(|(code, fate)| taken(&offered, code, *fate, ids, at)).collect(),
        law: Arc::clone(&law),
    };
    let changed_at = if news.taken.is_empty() { store.law().changed_at() } else { Some(at) };
    let (in_force, taken) = (store.shared_law(), Arc::clone(&law));
    // Taken by the writer itself: what waits behind this in its queue is decided by what the journal says counts by then.
    let take = move || in_force.take(taken, changed_at);
    store.write_then(move |connection| Box::pin(write(connection, news, at)), take).await?;
    ask_without(store, &law).await?;
    Ok(law)
}

/// Rule sets that bind a property and have no file: the records there are asked again, for what they lack is not known. Asked once the
/// law counts, so that no record is judged by the one before in between.
async fn ask_without(store: &Store, law: &Lawbook) -> Result<(), Problem> {
    let mut lists = store::rule_sets::lists(store.reader()).await?;
    lists.retain(|list| list.iter().any(|code| law.rule_set(code).is_none()));
    if lists.is_empty() {
        return Ok(());
    }
    let gone: BTreeSet<&str> =
        lists.iter().flatten().map(String::as_str).filter(|code| law.rule_set(code).is_none()).collect();
    tracing::warn!(
        codes = gone.into_iter().collect::<Vec<_>>().join(", "),
        "rule sets by which this book counted have no file any more; what they ask is not known"
    );
    store
        .write(move |connection| {
            Box::pin(async move { Ok(store::gaps::ask_again_under(connection, &lists, Day::FIRST).await?) })
        })
        .await
}

/// What a start has to write.
struct News {
    /// Versions by code, hash and text.
    met: Vec<(String, String, String)>,
    /// Those of them that count because the book met their rule set, by code and hash.
    first: Vec<(String, String)>,
    taken: Vec<RuleSetUse>,
    /// What counts from now on.
    law: Arc<Lawbook>,
}

/// Writes the news of a start, and in the journal what was met: from then on a version or a first use that it does not name is known to
/// have been put there.
async fn write(connection: &mut SqliteConnection, news: News, at: Instant) -> Result<(), Problem> {
    let met: Vec<_> = news.met.iter().map(|one| (one.0.as_str(), one.1.as_str(), one.2.as_str())).collect();
    let found = store::rule_sets::meet(&mut *connection, &met, at).await?;
    let first: Vec<_> = news.first.iter().map(|(code, hash)| (code.as_str(), hash.as_str())).collect();
    store::rule_sets::insert_first(&mut *connection, &first, at).await?;
    let versions: BTreeSet<_> = found.into_iter().chain(news.first.iter().cloned()).collect();
    if !versions.is_empty() {
        let versions = versions.iter().map(|(code, hash)| {
            let first = first.contains(&(code.as_str(), hash.as_str()));
            json!({ "code": code, "hash": hash, "first": first })
        });
        let told = json!({ "versions": versions.collect::<Vec<_>>() }).to_string();
        let deed = JournalContext { actor: None, at, act: MET, subject: MET_SUBJECT };
        store::journal::append(&mut *connection, deed, &told).await?;
    }
    for one in news.taken {
        store::rule_sets::insert(&mut *connection, &one).await?;
        let Some(id) = one.id else { continue };
        let deed = JournalContext { actor: None, at, act: COUNTED, subject: id.uuid() };
        store::journal::append(&mut *connection, deed, &serde_json::to_string(&one)?).await?;
        // What the version before asked of records cannot be read any more, or not beside the others.
        if matches!(one.how, TakenHow::Unreadable | TakenHow::Unfit | TakenHow::Upgraded) {
            ask_again(&mut *connection, &[&news.law], &one.code, Day::FIRST).await?;
        }
    }
    Ok(())
}

/// Asks the records of every property again over which a rule set stands, or stood by the law of before: by another version they may
/// lack something else.
async fn ask_again(
    connection: &mut SqliteConnection,
    laws: &[&Lawbook],
    code: &str,
    since: Day,
) -> Result<(), sqlx::Error> {
    let mut lists = store::rule_sets::lists(&mut *connection).await?;
    lists.retain(|list| laws.iter().any(|law| law.over(list).iter().any(|used| used.code == code)));
    store::gaps::ask_again_under(connection, &lists, since).await
}

/// The texts that this book decided by, of rule sets of which it does not know yet which version counts: by code, the newest last. A book
/// of before uses were written has some.
async fn decided(store: &Store, sets: &[&RuleSet]) -> Result<HashMap<String, Vec<DecidedText>>, Problem> {
    let codes: Vec<&str> = sets.iter().map(|set| set.about.code.as_str()).collect();
    let mut by_code: HashMap<String, Vec<DecidedText>> = HashMap::new();
    for (code, text) in store::rule_sets::decided(store.reader(), &codes).await? {
        by_code.entry(code).or_default().push(text);
    }
    Ok(by_code)
}

/// Whether a rule set brings other rules than those that the book decided by last.
fn is_news(set: &RuleSet, decided: &[DecidedText]) -> bool {
    let last = decided.last().filter(|_| decided.iter().all(|text| text.hash != set.about.hash));
    let equal = |text: &DecidedText| Lawbook::read_alone("", &text.text).is_ok_and(|before| before.has_rules_of(set));
    last.is_some_and(|text| !equal(text))
}

/// The texts by which changed rule sets counted, by code. One that is lost, or is not what its hash says, is an empty text, which nobody
/// can read.
async fn kept(
    store: &Store,
    counting: &HashMap<String, String>,
    changed: &[&RuleSet],
) -> Result<versions::Texts, Problem> {
    let hash = |set: &&RuleSet| counting.get(&set.about.code).map(String::as_str);
    let hashes: Vec<&str> = changed.iter().filter_map(hash).collect();
    let mut texts = store::rule_sets::texts(store.reader(), &hashes).await?;
    let text = |set: &&RuleSet| {
        let found = counting.get(&set.about.code).and_then(|hash| texts.remove(hash).map(|text| (hash, text)));
        let found = found.and_then(|(hash, text)| {
            let whole = sha256(&text) == *hash;
            if !whole {
                tracing::error!(code = set.about.code, hash, "the kept text of a rule set is not what its hash says");
            }
            whole.then_some(text)
        });
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
        Fate::Unfit => TakenHow::Unfit,
        Fate::Upgraded => TakenHow::Upgraded,
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
            Fate::Unfit => tracing::warn!(
                code,
                hash,
                "the version of a rule set that counted does not fit the others any more; the new one counts"
            ),
            Fate::Upgraded => tracing::warn!(
                code,
                hash,
                "the records were decided by another version of a rule set before uses were written; this one counts"
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

/// New versions that must be confirmed before that of a rule set fits what counts; none where it fits already.
pub fn needed_first<'o>(offered: &'o Lawbook, law: &Lawbook, code: &str) -> Vec<&'o RuleSetAbout> {
    let fits = |codes: [&str; 2]| {
        let sets = codes.iter().filter_map(|code| offered.rule_set(code));
        let texts = sets.map(|set| (set.about.code.clone(), set.text.clone())).collect();
        versions::mixed(law, &texts).is_ok()
    };
    if fits([code, code]) {
        return Vec::new();
    }
    let others: Vec<_> = waiting(offered, law).into_iter().filter(|about| about.code != code).collect();
    match others.iter().find(|other| fits([code, &other.code])) {
        Some(one) => vec![one],
        None => others,
    }
}

/// Lets the version with this hash count from now on, for everything that the server does. Said again, it changes nothing.
pub async fn confirm(app: &App, actor: Actor, code: String, hash: String) -> Result<RuleSetUse, Problem> {
    let app = app.clone();
    // A caller that hangs up in between must not leave a version written and not taken.
    let work = async move {
        let _one = app.store.law().changing.lock().await;
        let (law, offered) = (app.law(), app.offered_law());
        let missing = || Problem::not_found("rule set");
        let (counts, new) = law.rule_set(&code).zip(offered.rule_set(&code)).ok_or_else(missing)?;
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
        let (taking, next) = (app.clone(), Arc::new(next));
        let (asked_from, beside) = (counts.asks_otherwise_from(new), Arc::clone(&next));
        let before = Arc::clone(&law);
        // Taken by the writer itself: what waits behind this in its queue is decided by what the journal says counts by then.
        let done = app.store.write_then(
            move |connection| {
                Box::pin(async move {
                    store::rule_sets::insert(&mut *connection, &one).await?;
                    store::journal::append(&mut *connection, deed, &serde_json::to_string(&one)?).await?;
                    if let Some(since) = asked_from {
                        ask_again(connection, &[&before, &beside], &one.code, since).await?;
                    }
                    Ok(one)
                })
            },
            move || taking.store.law().take(next, Some(at)),
        );
        let done = done.await?;
        tracing::info!(code = done.code, hash = done.hash, "a new version of a rule set was confirmed and counts");
        Ok(done)
    };
    tokio::spawn(work.in_current_span()).await.map_err(|error| Problem::fault(&error))?
}
