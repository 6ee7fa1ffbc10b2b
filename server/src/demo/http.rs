//! The demonstration's own client: it knows nothing that the API does not tell it.

use std::{future::Future, time::Duration};

use futures_util::{StreamExt, TryStreamExt, stream};
use reqwest::{Client, Method, RequestBuilder};
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

    /// A change of a thing as it stands, whatever its version.
    pub async fn change(&self, path: &str, body: &Value) -> Result<Value, String> {
        let request = self.client.put(format!("{}{path}", self.base)).bearer_auth(self.token());
        let request = request.header("if-match", "*").header("content-type", "application/json");
        expect(answer(request.body(body.to_string()), "PUT", path).await?, 200, path)
    }

    /// A file of a product.
    pub async fn file(&self, path: &str, pdf: Vec<u8>) -> Result<Value, String> {
        let request = self.client.post(format!("{}{path}", self.base)).bearer_auth(self.token());
        expect(answer(request.header("content-type", "application/pdf").body(pdf), "POST", path).await?, 201, path)
    }

    async fn send(&self, method: Method, path: &str, body: Option<&Value>) -> Result<HttpReply, String> {
        let mut request = self.client.request(method.clone(), format!("{}{path}", self.base));
        if let Some(token) = &self.token {
            request = request.bearer_auth(token);
        }
        if let Some(body) = body {
            request = request.header("content-type", "application/json").body(body.to_string());
        }
        answer(request, method.as_str(), path).await
    }
}

async fn answer(request: RequestBuilder, method: &str, path: &str) -> Result<HttpReply, String> {
    let failed = |error: reqwest::Error| format!("{method} {path}: {error}");
    let response = request.send().await.map_err(failed)?;
    let status = response.status().as_u16();
    let text = response.text().await.map_err(failed)?;
    Ok((status, serde_json::from_str(&text).unwrap_or(Value::Null)))
}

/// So many requests are under way at once.
const AT_ONCE: usize = 8;

/// What people and phones do side by side; the answers in the order of the asking.
pub async fn together<T, F: Future<Output = Result<T, String>>>(
    work: impl IntoIterator<Item = F>,
) -> Result<Vec<T>, String> {
    stream::iter(work).buffered(AT_ONCE).try_collect().await
}

/// The answer's body if it has the status that is expected.
pub fn expect(answer: HttpReply, status: u16, what: &str) -> Result<Value, String> {
    let (got, body) = answer;
    if got == status { Ok(body) } else { Err(format!("{what} answered {got} instead of {status}: {body}")) }
}
