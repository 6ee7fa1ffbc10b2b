//! The demonstration's own client: it knows nothing that the API does not tell it.

use std::time::Duration;

use reqwest::{Client, Method};
use serde_json::Value;

/// Somebody at the other end of HTTP.
#[derive(Debug, Clone)]
pub struct Caller {
    base: String,
    token: Option<String>,
    client: Client,
}

/// An answer: its status and its JSON.
pub type HttpReply = (u16, Value);

impl Caller {
    pub fn nobody(base: &str) -> Result<Self, String> {
        let client = Client::builder().timeout(Duration::from_secs(30)).build().map_err(|error| error.to_string())?;
        Ok(Self { base: base.to_owned(), token: None, client })
    }

    pub fn with(&self, token: &Value) -> Self {
        Self { token: token.as_str().map(str::to_owned), ..self.clone() }
    }

    pub fn token(&self) -> &str {
        self.token.as_deref().unwrap_or_default()
    }

    pub async fn get(&self, path: &str) -> Result<HttpReply, String> {
        self.send(Method::GET, path, None).await
    }

    pub async fn post(&self, path: &str, body: &Value) -> Result<HttpReply, String> {
        self.send(Method::POST, path, Some(body)).await
    }

    pub async fn put(&self, path: &str, body: &Value) -> Result<HttpReply, String> {
        self.send(Method::PUT, path, Some(body)).await
    }

    /// A POST that must make something; its id.
    pub async fn made(&self, path: &str, body: &Value) -> Result<String, String> {
        let (status, answer) = self.post(path, body).await?;
        match answer["id"].as_str() {
            Some(id) if status == 201 => Ok(id.to_owned()),
            _ => Err(format!("POST {path} answered {status}: {answer}")),
        }
    }

    async fn send(&self, method: Method, path: &str, body: Option<&Value>) -> Result<HttpReply, String> {
        let mut request = self.client.request(method.clone(), format!("{}{path}", self.base));
        if let Some(token) = &self.token {
            request = request.bearer_auth(token);
        }
        if let Some(body) = body {
            request = request.header("content-type", "application/json").body(body.to_string());
        }
        let failed = |error: reqwest::Error| format!("{method} {path}: {error}");
        let response = request.send().await.map_err(failed)?;
        let status = response.status().as_u16();
        let text = response.text().await.map_err(failed)?;
        Ok((status, serde_json::from_str(&text).unwrap_or(Value::Null)))
    }
}

/// The answer's body if it has the status that is expected.
pub fn expect(answer: HttpReply, status: u16, what: &str) -> Result<Value, String> {
    let (got, body) = answer;
    if got == status { Ok(body) } else { Err(format!("{what} answered {got} instead of {status}: {body}")) }
}
