//! What a browser sends of a form: names and texts, in their order.

use axum::{
    body::{Body, Bytes},
    extract::{FromRequest, Multipart, Query, multipart::MultipartError},
    http::{Request, StatusCode},
};

use crate::{
    app::App,
    problem::{Kind, Problem},
};

/// The fields of a form as they were sent.
#[derive(Debug)]
pub struct Sent(Vec<(String, String)>);

impl FromRequest<App> for Sent {
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
    pub sent: Sent,
    /// What was in the file; nothing if none was chosen.
    pub bytes: Option<Bytes>,
}

impl FromRequest<App> for SentFile {
    type Rejection = Problem;

    async fn from_request(request: Request<Body>, app: &App) -> Result<Self, Problem> {
        let unreadable = || Problem::new(Kind::Malformed, "The form could not be read. Open it again from the office.");
        let mut parts = Multipart::from_request(request, app).await.map_err(|_| unreadable())?;
        let (mut sent, mut bytes) = (Vec::new(), None);
        let failed = |error: MultipartError| match error.status() {
            StatusCode::PAYLOAD_TOO_LARGE => Problem::new(
                Kind::TooLarge,
                "A file is limited to 4 MiB. Scan it in grey, or fewer pages at once. Nothing was stored.",
            ),
            _ => unreadable(),
        };
        while let Some(part) = parts.next_field().await.map_err(failed)? {
            let name = part.name().unwrap_or_default().to_owned();
            if part.file_name().is_some() {
                let file = part.bytes().await.map_err(failed)?;
                // A browser sends an empty file when none was chosen.
                bytes = Some(file).filter(|file| !file.is_empty());
            } else {
                sent.push((name, part.text().await.map_err(failed)?));
            }
        }
        Ok(Self { sent: Sent(sent), bytes })
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

impl Sent {
    /// Rows of lists, those in which something was typed before the empty ones, so that a place in the form is the place in
    /// the request.
    pub fn closed_up(&self) -> Self {
        let mut rows: Vec<(&str, bool, usize)> = Vec::new();
        for (name, text) in &self.0 {
            let Some((list, number, _)) = in_list(name) else { continue };
            let empty = text.trim().is_empty();
            match rows.iter_mut().find(|(known, _, at)| (*known, *at) == (list, number)) {
                Some(row) => row.1 &= empty,
                None => rows.push((list, empty, number)),
            }
        }
        rows.sort_unstable();
        let moved = |(name, text): &(String, String)| {
            let name = in_list(name).map_or_else(
                || name.clone(),
                |(list, number, member)| {
                    let mut own = rows.iter().filter(|(known, ..)| *known == list);
                    let place = own.position(|(.., at)| *at == number).unwrap_or(number);
                    format!("{list}{place}{member}")
                },
            );
            (name, text.clone())
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
        own.map(|(_, number, _)| number + 1).max().unwrap_or(0)
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
            Sent(pairs.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect())
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
