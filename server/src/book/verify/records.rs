//! What is stored of a record, held against its entry in the journal.

use std::{borrow::Cow, collections::BTreeMap};

use serde::Deserialize;
use serde_json::{Map, Value, value::RawValue};

use crate::{
    book::measurements,
    secret::sha256,
    store::{packing, verify::Entry},
};

/// What an entry says.
#[derive(Debug)]
pub struct Told {
    pub payload: Value,
    /// The content in it is left out, because it stands letter for letter as it is stored. To take it apart is most of the work, and
    /// is done where they differ.
    pub has_stored_content: bool,
}

impl Told {
    pub fn by(entry: &Entry) -> serde_json::Result<Self> {
        if let (true, Some(content)) = (entry.moves_product() || entry.act == "attempt.refused", &entry.content) {
            let mut members: BTreeMap<Cow<'_, str>, &RawValue> = serde_json::from_str(&entry.payload)?;
            if members.get("content").is_some_and(|stated| stated.get() == content) {
                members.remove("content");
                let read = |(name, text): (Cow<'_, str>, &RawValue)| {
                    Ok((name.into_owned(), serde_json::from_str(text.get())?))
                };
                let payload = members.into_iter().map(read).collect::<serde_json::Result<Map<String, Value>>>()?;
                return Ok(Self { payload: Value::Object(payload), has_stored_content: true });
            }
        }
        Ok(Self { payload: serde_json::from_str(&entry.payload)?, has_stored_content: false })
    }
}

/// What is stored of a record is what the entry says was stored.
pub fn check(entry: &Entry, told: &Told, faults: &mut Vec<String>) {
    let payload = &told.payload;
    let json = |text: &Option<String>| {
        text.as_deref().and_then(|text| serde_json::from_str::<Value>(text).ok()).unwrap_or_default()
    };
    let mut differs =
        |what: &str| faults.push(format!("{what} of {} differs from journal entry {}", entry.subject_id, entry.seq));
    if entry.is_record() || entry.act == "attempt.refused" {
        if !told.has_stored_content && json(&entry.content) != payload["content"] {
            differs("the content");
        }
        let left = entry.content.as_deref().and_then(|text| packing::asked_of(text).ok());
        if entry.asked.is_some() && entry.asked != left {
            differs("what is asked of the content");
        }
        if json(&entry.row) != payload["row"] {
            differs("the row");
        }
    }
    if entry.beside {
        differs("what stands beside the packed texts");
    }
    if entry.act == "application.recorded" && !fixed_stands(entry, payload) {
        differs("what was fixed");
    }
    if !texts_stand(&json(&entry.texts), payload["texts_sha256"].as_str()) {
        differs("a text about people");
    }
    if entry.moves_product() {
        if json(&entry.lines) != payload["lines"] {
            differs("the ledger");
        }
        if entry.moved != -entry.used {
            differs("the stock movement");
        }
    }
    let used = payload["used_clearance"].as_str();
    if entry.used_clearance.as_deref() != used {
        differs("the clearance that was used up by the record");
    }
    if entry.act == "clearance.given_back" && entry.ended.as_deref() != Some("given_back") {
        differs("the end");
    }
    if let Some(stated) = payload["decision_sha256"].as_str()
        && entry.decision.as_deref().map(sha256).as_deref() != Some(stated)
    {
        differs("the decision");
    }
    let weather = entry.weather.as_deref().map(sha256);
    if weather.as_deref() != payload["weather_sha256"].as_str() && (entry.is_record() || entry.act == "attempt.refused")
    {
        differs("the weather");
    }
    if entry.act == "product.added" && json(&entry.label) != payload["label"] {
        differs("the label");
    }
    if entry.act == "measurement.added" {
        let stated = payload["area_sqft"].as_str().and_then(|text| domain::quantity::Area::parse(text).ok());
        if stated.map(domain::quantity::Area::raw) != entry.area {
            differs("the area");
        }
        if !measurements::follows(payload) {
            faults.push(format!(
                "the area of measurement {} in journal entry {} does not follow from its parts",
                entry.subject_id, entry.seq
            ));
        }
    }
}

/// Whether what was fixed with a record is what the journal vouches for, and the clock beside it is that clock.
fn fixed_stands(entry: &Entry, payload: &Value) -> bool {
    /// What of it is held here.
    #[derive(Default, Deserialize)]
    struct Fixed {
        #[serde(default)]
        time_zone: Option<String>,
    }
    let fixed = |text: &String| serde_json::from_str::<Fixed>(text).ok();
    let clock = match &entry.time_zone {
        Some(zone) => entry.particulars.as_ref().and_then(fixed).unwrap_or_default().time_zone.as_ref() == Some(zone),
        // Earlier versions packed nothing, and kept no clock beside it.
        None => entry.packed.is_none(),
    };
    clock && entry.particulars.as_ref().map(sha256).as_deref() == payload["particulars_sha256"].as_str()
}

/// Whether texts about people are what the journal vouches for. Those that were destroyed stand if the journal tells of that.
fn texts_stand(kept: &Value, stated: Option<&str>) -> bool {
    match (kept["salt"].as_str(), kept["body"].as_str(), stated) {
        (Some(salt), Some(body), Some(stated)) => sha256(format!("{salt}{body}")) == stated,
        (None, None, Some(_)) => kept["destroyed"] == 1,
        (salt, body, None) => salt.is_none() && body.is_none(),
        _ => false,
    }
}
