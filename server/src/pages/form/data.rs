//! What a browser sends of a form: names and texts, in their order.

use std::collections::{BTreeMap, HashMap};

use axum::{
    body::{Body, Bytes},
    extract::{FromRequest, Multipart, Query},
    http::{Request, StatusCode},
};

use crate::{
    problem::{Kind, Problem},
    state::App,
};

/// The fields of a form as they were sent.
#[derive(Debug)]
pub struct FormData(Vec<(String, String)>);

impl FromRequest<App> for FormData {
    type Rejection = Problem;

    async fn from_request(request: Request<Body>, app: &App) -> Result<Self, Problem> {
        let read = axum::Form::<Vec<(String, String)>>::from_request(request, app).await;
        let unreadable =
            |_| Problem::new(Kind::Malformed, "The form could not be read. Open it again from the office.");
        read.map(|axum::Form(pairs)| Self(pairs)).map_err(unreadable)
    }
}

/// A form with a file, as it was sent.
#[derive(Debug)]
pub struct SentFile {
    pub sent: FormData,
    /// What was in the file; nothing if none was chosen.
    pub bytes: Option<Bytes>,
    /// The file is larger than anything that is read here; what follows it in the form was not read.
    pub too_large: bool,
}

impl FromRequest<App> for SentFile {
    type Rejection = Problem;

    async fn from_request(request: Request<Body>, app: &App) -> Result<Self, Problem> {
        let unreadable = || Problem::new(Kind::Malformed, "The form could not be read. Open it again from the office.");
        let mut parts = Multipart::from_request(request, app).await.map_err(|_| unreadable())?;
        let (mut sent, mut bytes, mut too_large) = (Vec::new(), None, false);
        while let Some(part) = parts.next_field().await.map_err(|_| unreadable())? {
            let name = part.name().unwrap_or_default().to_owned();
            if part.file_name().is_none() {
                sent.push((name, part.text().await.map_err(|_| unreadable())?));
                continue;
            }
            match part.bytes().await {
                // A browser sends an empty file when none was chosen.
                Ok(file) => bytes = Some(file).filter(|file| !file.is_empty()),
                Err(error) if error.status() == StatusCode::PAYLOAD_TOO_LARGE => {
                    too_large = true;
                    break;
                }
                Err(_) => return Err(unreadable()),
            }
        }
        Ok(Self { sent: FormData(sent), bytes, too_large })
    }
}

/// A name within a list, such as `/rounds/2/name`: what stands before the number, the number, and what follows it.
fn in_list(name: &str) -> Option<(&str, usize, &str)> {
    name.match_indices('/').find_map(|(slash, _)| {
        let (list, rest) = name.split_at(slash + 1);
        let number = rest.split('/').next().unwrap_or_default();
        Some((list, number.parse().ok()?, &rest[number.len()..]))
    })
}

impl FormData {
    /// Rows of lists, those in which something was typed before the empty ones, so that a place in the form is the place in
    /// the request.
    pub fn closed_up(&self) -> Self {
        // Of each list its rows by number, and whether a row is empty.
        let mut lists: BTreeMap<&str, BTreeMap<usize, bool>> = BTreeMap::new();
        for (name, text) in &self.0 {
            let Some((list, number, _)) = in_list(name) else { continue };
            *lists.entry(list).or_default().entry(number).or_insert(true) &= text.trim().is_empty();
        }
        let mut places: HashMap<(&str, usize), usize> = HashMap::new();
        for (list, rows) in &lists {
            let (empty, said): (Vec<_>, Vec<_>) = rows.iter().partition(|(_, empty)| **empty);
            for (place, (number, _)) in said.into_iter().chain(empty).enumerate() {
                let _ = places.insert((*list, *number), place);
            }
        }
        let moved = |(name, text): &(String, String)| {
            let renamed = in_list(name).and_then(|(list, number, member)| {
                places.get(&(list, number)).map(|place| format!("{list}{place}{member}"))
            });
            (renamed.unwrap_or_else(|| name.clone()), text.clone())
        };
        Self(self.0.iter().map(moved).collect())
    }

    /// What stands in the query of an address.
    pub fn query(text: &str) -> Self {
        let read = format!("/?{text}").parse().ok().and_then(|uri| Query::try_from_uri(&uri).ok());
        Self(read.map(|Query(pairs)| pairs).unwrap_or_default())
    }

    /// Whether nothing was asked yet.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// How many rows of a list were sent.
    pub fn rows(&self, list: &str) -> usize {
        let own = self.0.iter().filter_map(|(name, _)| in_list(name)).filter(|(known, ..)| *known == list);
        own.map(|(_, number, _)| number.saturating_add(1)).max().unwrap_or(0)
    }

    pub fn all(&self, name: &str) -> Vec<String> {
        self.0.iter().filter(|(known, _)| known == name).map(|(_, text)| text.clone()).collect()
    }

    pub fn one(&self, name: &str) -> Option<String> {
        self.0.iter().find(|(known, _)| known == name).map(|(_, text)| text.clone())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_that_say_something_close_up() {
        let sent = |pairs: &[(&str, &str)]| {
            FormData(pairs.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect())
        };
        let typed =
            sent(&[("/name", "A"), ("/rounds/0/name", " "), ("/rounds/0/from", ""), ("/rounds/1/name", "late")]);
        let closed = typed.closed_up();
        assert_eq!(closed.one("/rounds/0/name").as_deref(), Some("late"));
        assert_eq!(closed.one("/rounds/1/name").as_deref(), Some(" "));
        assert_eq!(
            (closed.one("/name").as_deref(), closed.rows("/rounds/"), closed.rows("/needs/")),
            (Some("A"), 2, 0)
        );
    }
}
