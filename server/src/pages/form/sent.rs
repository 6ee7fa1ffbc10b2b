//! What a browser sends of a form: names and texts, in their order.

use axum::{body::Body, extract::FromRequest, http::Request};

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

impl Sent {
    pub fn all(&self, name: &str) -> Vec<String> {
        self.0.iter().filter(|(known, _)| known == name).map(|(_, text)| text.clone()).collect()
    }

    pub fn one(&self, name: &str) -> Option<String> {
        self.0.iter().find(|(known, _)| known == name).map(|(_, text)| text.clone())
    }
}
