//! What was sent, as it is kept: whole for the answer, and without its texts about people for table and journal.

use std::collections::BTreeSet;

use serde::Serialize;
use serde_json::{Map, Value};

use crate::{
    acts::{
        ActOutcome,
        fault::{ActFault, read},
        particulars::PersonalTexts,
    },
    secret::sha256,
};

/// What was sent, as it is kept: for the journal as a value, for its table as text. Made once, before the act.
#[derive(Debug, Clone)]
pub struct Content {
    pub(super) value: Value,
    pub(super) text: String,
    /// Equal for equal content.
    pub(super) fingerprint: String,
    /// The same without its texts about people.
    pub(super) impersonal: Value,
    /// Those texts.
    pub(super) personal: PersonalTexts,
}

impl Content {
    pub fn of(kept: &impl Serialize) -> Result<Self, ActFault> {
        let value = serde_json::to_value(kept).map_err(|error| ActFault::Unwritable("what was sent", error))?;
        // The members of a value are sorted, so equal values have equal text.
        let text = value.to_string();
        let fingerprint = sha256(&text);
        let impersonal = value.clone();
        Ok(Self { value, text, fingerprint, impersonal, personal: PersonalTexts::default() })
    }

    /// The same, with its notes and its reason apart: they speak of people.
    pub fn apart(kept: &impl Serialize) -> Result<Self, ActFault> {
        let mut content = Self::of(kept)?;
        if let Some(members) = content.impersonal.as_object_mut() {
            let mut taken = |name| members.remove(name).and_then(|text| Some(text.as_str()?.to_owned()));
            let (notes, reason) = (taken("notes"), taken("reason"));
            content.personal = PersonalTexts { notes, reason, ..PersonalTexts::default() };
        }
        Ok(content)
    }

    /// Its fingerprint where a hash alone must not tell its texts about people to whoever tries some.
    pub(super) fn salted(&self, salt: Option<&str>) -> String {
        salt.map_or_else(|| self.fingerprint.clone(), |salt| sha256(format!("{salt}{}", self.text)))
    }

    /// What is kept of it in its own table, and the hash of that.
    pub(super) fn kept(&self) -> (String, String) {
        let text = self.impersonal.to_string();
        let fingerprint = sha256(&text);
        (text, fingerprint)
    }
}

/// Everything that was sent, its texts about people among it, in the text in which it was hashed when it was sent.
pub fn whole_content(kept: &str, texts: Option<&PersonalTexts>) -> Result<String, ActFault> {
    let mut content: Map<String, Value> = read("what was sent", kept)?;
    let texts = texts.into_iter().flat_map(|texts| [("notes", &texts.notes), ("reason", &texts.reason)]);
    content.extend(texts.filter_map(|(name, text)| Some((name.to_owned(), text.clone()?.into()))));
    Ok(Value::Object(content).to_string())
}

/// What was sent under an id that is taken: stored already, or other than what is stored.
pub(super) fn sent_again(stored: &str, fingerprint: &str, sent: &Content) -> Result<ActOutcome, ActFault> {
    if fingerprint == sent.fingerprint {
        return Ok(ActOutcome::StoredBefore);
    }
    let stored: Map<String, Value> = read("the content under this id", stored)?;
    let names = stored.keys().chain(sent.value.as_object().into_iter().flat_map(Map::keys));
    let differs = |name: &&String| stored.get(*name) != sent.value.get(*name);
    let differing: BTreeSet<String> = names.filter(differs).cloned().collect();
    Ok(ActOutcome::Reused(differing.into_iter().collect()))
}
