//! Storage that speaks the protocol of S3, as far as copies need it. Requests are signed in their address, which therefore stands in no
//! log; each waits for a bounded time, and what may be mended by itself is tried again.

use std::{
    fs::File,
    io::{self, Read, Write},
    path::Path,
    pin::Pin,
    task::{Context, Poll},
    time::Duration,
};

use axum::body::Bytes;
use http_body::{Body, Frame, SizeHint};
use reqwest::{Client, Method, Response, StatusCode, Url};
use rusty_s3::{Credentials, S3Action, UrlStyle, actions::ListObjectsV2};

use crate::{config, store::file};

/// How long a signed address holds: as long as the largest copy may take.
const SIGNED: Duration = Duration::from_hours(6);
const CONNECT: Duration = Duration::from_secs(10);
/// Without a further part of an answer.
const READ: Duration = Duration::from_mins(1);
/// Each request gets this long, and a second more for each of so many bytes: slower than that no copy is worth waiting for.
const WHOLE: Duration = Duration::from_mins(2);
const BYTES_A_SECOND: u64 = 32 * 1024;
/// Pauses between tries.
const PAUSES: [Duration; 2] = [Duration::from_secs(1), Duration::from_secs(4)];
/// The largest copy that goes in one request, as the protocol has it.
const LARGEST: u64 = 5 * 1024 * 1024 * 1024;
/// Letters of an answer that are read to say what was refused.
const SAID: usize = 4096;
/// Parts of a list that are asked for at most; each names a thousand.
const PARTS: usize = 1000;

/// One bucket, and what stands before the names in it.
#[derive(Clone)]
pub struct Bucket {
    storage: rusty_s3::Bucket,
    prefix: String,
    credentials: Credentials,
    http: Client,
}

impl std::fmt::Debug for Bucket {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.named(""))
    }
}

/// What came of one request.
enum Fault {
    /// Another try may help.
    Passing(String),
    Lasting(String),
    NotThere,
}

impl Bucket {
    /// What stands after `s3://`: the bucket, and a prefix if there is one.
    pub fn of(named: &str, storage: &config::Storage) -> Result<Self, String> {
        let (name, prefix) = named.split_once('/').unwrap_or((named, ""));
        let prefix = prefix.trim_matches('/');
        if name.is_empty() {
            return Err("s3:// needs the name of a bucket: s3://BUCKET/PREFIX".to_owned());
        }
        let (Some(key), Some(secret)) = (&storage.s3_key_id, &storage.s3_secret) else {
            return Err("copies in a bucket need a key: set SWARDBOOK_S3_KEY_ID and SWARDBOOK_S3_SECRET".to_owned());
        };
        let region = storage.s3_region.clone();
        let endpoint = storage.s3_endpoint.clone().unwrap_or_else(|| format!("https://s3.{region}.amazonaws.com"));
        let url: Url = endpoint.parse().map_err(|error| format!("--s3-endpoint {endpoint}: {error}"))?;
        let here = url.host_str().is_some_and(|host| ["127.0.0.1", "localhost", "[::1]"].contains(&host));
        if url.scheme() != "https" && !(url.scheme() == "http" && here) {
            return Err(format!(
                "--s3-endpoint {endpoint} would send records in the open: it must begin with https://, or be on this machine"
            ));
        }
        let bucket = rusty_s3::Bucket::new(url, UrlStyle::Path, name.to_owned(), region);
        let bucket = bucket.map_err(|error| format!("--s3-endpoint {endpoint}: {error}"))?;
        let http = Client::builder()
            .user_agent(concat!("swardbook/", env!("CARGO_PKG_VERSION")))
            .connect_timeout(CONNECT)
            .read_timeout(READ)
            // Nothing of this machine's settings sends copies elsewhere, and nothing of an answer does.
            .no_proxy()
            .redirect(reqwest::redirect::Policy::none())
            // A round has a thread of its own, with which its connections end.
            .pool_max_idle_per_host(0)
            .build();
        Ok(Self {
            storage: bucket,
            prefix: if prefix.is_empty() { String::new() } else { format!("{prefix}/") },
            credentials: Credentials::new(key.shown(), secret.shown()),
            http: http.map_err(|error| error.to_string())?,
        })
    }

    pub fn named(&self, name: &str) -> String {
        format!("s3://{}/{}{name}", self.storage.name(), self.prefix)
    }

    fn key(&self, name: &str) -> String {
        format!("{}{name}", self.prefix)
    }

    /// Names and sizes of what begins with a text.
    pub async fn list(&self, begins: &str) -> Result<Vec<(String, u64)>, String> {
        let (mut all, mut from) = (Vec::new(), None::<String>);
        for _ in 0..PARTS {
            let mut action = self.storage.list_objects_v2(Some(&self.credentials));
            action.with_prefix(self.key(begins));
            if let Some(from) = &from {
                action.with_continuation_token(from.clone());
            }
            let url = action.sign(SIGNED);
            let text = self.tried("", || async {
                let answer = self.sent(Method::GET, url.clone(), None).await?;
                answer.text().await.map_err(passing)
            });
            let odd = |error| format!("{}: its list cannot be read: {error}", self.named(""));
            let list = ListObjectsV2::parse_response(&text.await?).map_err(odd)?;
            let named = |key: String| key.strip_prefix(&self.prefix).map(str::to_owned);
            all.extend(list.contents.into_iter().filter_map(|one| Some((named(one.key)?, one.size.unwrap_or(0)))));
            match list.next_continuation_token {
                Some(next) => from = Some(next),
                None => return Ok(all),
            }
        }
        Err(format!("{}: its list does not end", self.named("")))
    }

    /// Puts a text there.
    pub async fn put(&self, name: &str, bytes: Vec<u8>) -> Result<(), String> {
        let bytes = Bytes::from(bytes);
        self.put_body(name, || Ok((bytes.clone().into(), bytes.len() as u64))).await
    }

    /// Puts a file there.
    pub async fn put_file(&self, name: &str, from: &Path) -> Result<(), String> {
        self.put_body(name, || {
            let file = File::open(from)?;
            let left = file.metadata()?.len();
            Ok((reqwest::Body::wrap(FileBody { file, left }), left))
        })
        .await
    }

    async fn put_body(&self, name: &str, body: impl Fn() -> io::Result<(reqwest::Body, u64)>) -> Result<(), String> {
        let key = self.key(name);
        let url = self.storage.put_object(Some(&self.credentials), &key).sign(SIGNED);
        self.tried(name, || async {
            let body = body().map_err(|error| Fault::Lasting(error.to_string()))?;
            if body.1 > LARGEST {
                return Err(Fault::Lasting("it is larger than the 5 GiB that go in one request".to_owned()));
            }
            self.sent(Method::PUT, url.clone(), Some(body)).await.map(drop)
        })
        .await
    }

    /// Brings a file from there into a new file of this machine.
    pub async fn get(&self, name: &str, to: &Path) -> Result<(), String> {
        let key = self.key(name);
        let url = self.storage.get_object(Some(&self.credentials), &key).sign(SIGNED);
        let here = |error: io::Error| Fault::Lasting(format!("{}: {error}", to.display()));
        file::make(to).map_err(|error| format!("{}: {error}", to.display()))?;
        self.tried(name, || async {
            let mut answer = self.sent(Method::GET, url.clone(), None).await?;
            let mut out = File::options().write(true).truncate(true).open(to).map_err(here)?;
            while let Some(chunk) = answer.chunk().await.map_err(passing)? {
                out.write_all(&chunk).map_err(here)?;
            }
            out.sync_all().map_err(here)
        })
        .await
    }

    pub async fn remove(&self, name: &str) -> Result<(), String> {
        let key = self.key(name);
        let url = self.storage.delete_object(Some(&self.credentials), &key).sign(SIGNED);
        let gone = self.tried(name, || async {
            match self.sent(Method::DELETE, url.clone(), None).await {
                Ok(_) | Err(Fault::NotThere) => Ok(()),
                Err(other) => Err(other),
            }
        });
        gone.await
    }

    /// Tries it, and again after a while where that may help.
    async fn tried<T>(&self, name: &str, work: impl AsyncFn() -> Result<T, Fault>) -> Result<T, String> {
        let mut pauses = PAUSES.into_iter();
        loop {
            let said = match (work().await, pauses.next()) {
                (Ok(done), _) => return Ok(done),
                (Err(Fault::Passing(_)), Some(pause)) => {
                    tokio::time::sleep(pause).await;
                    continue;
                }
                (Err(Fault::Passing(said) | Fault::Lasting(said)), _) => said,
                (Err(Fault::NotThere), _) => "it is not there".to_owned(),
            };
            return Err(format!("{}: {said}", self.named(name)));
        }
    }

    async fn sent(&self, method: Method, url: Url, body: Option<(reqwest::Body, u64)>) -> Result<Response, Fault> {
        let bytes = body.as_ref().map_or(0, |(_, bytes)| *bytes);
        let mut request = self.http.request(method.clone(), url);
        // What is brought from there is as large as what was put there, and is not known before: the time between its parts is.
        if method != Method::GET {
            request = request.timeout(WHOLE + Duration::from_secs(bytes / BYTES_A_SECOND));
        }
        if let Some((body, bytes)) = body {
            request = request.header(reqwest::header::CONTENT_LENGTH, bytes).body(body);
        }
        let mut answer = request.send().await.map_err(passing)?;
        let status = answer.status();
        if status.is_success() {
            return Ok(answer);
        }
        let mut text = Vec::new();
        while let Ok(Some(chunk)) = answer.chunk().await {
            text.extend_from_slice(&chunk);
            if text.len() > SAID {
                break;
            }
        }
        Err(refused(status, &String::from_utf8_lossy(&text)))
    }
}

/// The address of a request has its signature in it and is told to nobody.
fn passing(error: reqwest::Error) -> Fault {
    let error = error.without_url();
    let why = std::error::Error::source(&error).map_or_else(String::new, |why| format!(": {why}"));
    Fault::Passing(format!("the storage does not answer ({error}{why})"))
}

/// What the storage says, by the code that the protocol gives it.
fn refused(status: StatusCode, text: &str) -> Fault {
    let code = text.split_once("<Code>").and_then(|(_, rest)| rest.split_once("</Code>")).map_or("", |(code, _)| code);
    let plain = code.bytes().all(|letter| letter.is_ascii_alphanumeric()) && code.len() <= 60;
    let code = if plain { code } else { "" };
    let hint = match (status.as_u16(), code) {
        (404, "NoSuchBucket") => "; there is no such bucket",
        (404, _) => return Fault::NotThere,
        (_, "RequestTimeTooSkewed") => "; the clock of this machine is wrong",
        (401 | 403, _) => "; the key or its secret is wrong, or it may not do this",
        (301 | 307 | 400, _) => "; --s3-region or --s3-endpoint may be another one",
        _ => "",
    };
    let said = format!("the storage answered {} {code}", status.as_u16());
    let said = format!("{}{hint}", said.trim_end());
    if status.is_server_error() || status == StatusCode::TOO_MANY_REQUESTS || status == StatusCode::REQUEST_TIMEOUT {
        Fault::Passing(said)
    } else {
        Fault::Lasting(said)
    }
}

/// A file on its way out, read as it goes. Whoever sends it has a thread of its own.
struct FileBody {
    file: File,
    left: u64,
}

impl Body for FileBody {
    type Data = Bytes;
    type Error = io::Error;

    fn poll_frame(mut self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, io::Error>>> {
        if self.left == 0 {
            return Poll::Ready(None);
        }
        let mut piece = vec![0; usize::try_from(self.left.min(64 * 1024)).unwrap_or(0)];
        let read = self.file.read_exact(&mut piece);
        self.left -= piece.len() as u64;
        Poll::Ready(Some(read.map(|()| Frame::data(piece.into()))))
    }

    fn size_hint(&self) -> SizeHint {
        SizeHint::with_exact(self.left)
    }
}
