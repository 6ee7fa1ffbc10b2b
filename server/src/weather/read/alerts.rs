//! Reading lists of alerts. What stands beside an alert's name must not hide the alert; what cannot be read of a list leaves it
//! incomplete, and the rest of it stops what it stops.

use domain::{time::Instant, weather::alert_list::AlertWord};
use serde::{Deserialize, de::DeserializeOwned};
use serde_json::value::RawValue;

use super::{Feature, shown};

/// What a list says, and of what and of when it is.
#[derive(Debug)]
pub struct AlertsRead {
    pub words: Vec<AlertWord>,
    pub title: Option<String>,
    /// The last time that it changed, by its own word.
    pub updated_at: Option<Instant>,
    /// It has a next page, or says of one what cannot be read.
    pub has_more: bool,
    /// How many entries could not be read, and the first of them.
    pub unread: usize,
    pub first_unread: Option<String>,
    /// More entries than a list for one place has, by far.
    pub is_absurd: bool,
}

#[derive(Deserialize)]
struct ListWords {
    features: Vec<Box<RawValue>>,
    title: Option<Box<RawValue>>,
    updated: Option<Box<RawValue>>,
    pagination: Option<Box<RawValue>>,
}

#[derive(Deserialize)]
struct Pages {
    next: Option<Box<RawValue>>,
}

/// So many alerts no place has. What can be read of more goes on stopping what it stops.
const MOST_ALERTS: usize = 500;

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct AlertFields {
    id: Option<Box<RawValue>>,
    event: String,
    status: Option<Box<RawValue>>,
    message_type: Option<Box<RawValue>>,
    sent: String,
    expires: Option<Box<RawValue>>,
    ends: Option<Box<RawValue>>,
    references: Option<Box<RawValue>>,
    parameters: Option<Box<RawValue>>,
}

#[derive(Deserialize)]
struct Reference {
    identifier: String,
}

#[derive(Deserialize)]
struct Parameters {
    #[serde(rename = "VTEC")]
    codes: Option<Box<RawValue>>,
}

/// The members of a list that can be read. A `null` among an alert's codes, or in their place, leaves a warning a warning.
fn readable<T: DeserializeOwned>(raw: Option<&RawValue>) -> Vec<T> {
    let members = raw.and_then(|raw| serde_json::from_str::<Vec<Box<RawValue>>>(raw.get()).ok()).unwrap_or_default();
    members.iter().filter_map(|member| serde_json::from_str(member.get()).ok()).collect()
}

fn text(raw: Option<Box<RawValue>>) -> Option<String> {
    raw.and_then(|raw| serde_json::from_str(raw.get()).ok())
}

/// A list of alerts. One without `features` is none.
pub fn alerts(body: &[u8]) -> Option<AlertsRead> {
    let list: ListWords = serde_json::from_slice(body).ok()?;
    let words: Vec<AlertWord> = list.features.iter().filter_map(|raw| alert(raw.get())).collect();
    let unread = list.features.len() - words.len();
    let first = list.features.iter().find(|raw| unread > 0 && alert(raw.get()).is_none());
    // A member that is null is as good as none; what is no object of pages may speak of one.
    let pages = list.pagination.map(|raw| serde_json::from_str::<Pages>(raw.get()).ok());
    Some(AlertsRead {
        is_absurd: list.features.len() > MOST_ALERTS,
        first_unread: first.map(|raw| shown(raw.get())),
        title: text(list.title),
        updated_at: text(list.updated).and_then(|text| Instant::parse(&text).ok()),
        has_more: pages.is_some_and(|pages| pages.is_none_or(|pages| pages.next.is_some())),
        words,
        unread,
    })
}

fn alert(entry: &str) -> Option<AlertWord> {
    let Feature { properties, .. } = serde_json::from_str::<Feature<AlertFields>>(entry).ok()?;
    if properties.event.trim().is_empty() {
        return None;
    }
    let time = |raw: Option<Box<RawValue>>| {
        raw.map(|raw| serde_json::from_str::<String>(raw.get()).ok().and_then(|text| Instant::parse(&text).ok()))
    };
    let (expires, ends) = match (time(properties.expires), time(properties.ends)) {
        // An end that cannot be read is none: the alert then lasts until further notice.
        (_, Some(None)) => (None, None),
        (expires, ends) => (expires.flatten(), ends.flatten()),
    };
    // A status or a kind that is not there is none of the words that would make it no alert.
    Some(AlertWord {
        sent: Instant::parse(&properties.sent).ok()?,
        id: text(properties.id).unwrap_or_default(),
        event: properties.event.chars().take(200).collect(),
        status: text(properties.status).unwrap_or_default(),
        message_type: text(properties.message_type).unwrap_or_default(),
        expires,
        ends,
        references: readable::<Reference>(properties.references.as_deref()).into_iter().map(|r| r.identifier).collect(),
        codes: codes(properties.parameters.as_deref()),
    })
}

fn codes(parameters: Option<&RawValue>) -> Vec<String> {
    let parameters = parameters.and_then(|raw| serde_json::from_str::<Parameters>(raw.get()).ok());
    readable(parameters.and_then(|parameters| parameters.codes).as_deref())
}
