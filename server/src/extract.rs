//! How a request is read: JSON bodies, queries, path ids and the headers of conditional and repeatable requests. Each
//! refuses with a problem document that lists every fault.

use axum::{
    body::{Body, Bytes},
    extract::{FromRequest, FromRequestParts, MatchedPath, Path},
    http::{HeaderMap, Request, header, request::Parts},
};
use domain::ids::{Id, IdKind};
use serde::{Deserialize, Deserializer, de::DeserializeOwned};
use serde_json::{Map, Value};
use serde_path_to_error::{Deserializer as PathDeserializer, Track};
use utoipa::{IntoParams, ToSchema};

use crate::{
    problem::{FieldFault, Kind, Problem},
    schema::Schema,
    secret::fingerprint,
    state::App,
    version::Versions,
};

/// A JSON body that fits the schema `T` of the API document.
#[derive(Debug)]
pub struct Valid<T> {
    pub value: T,
    /// SHA-256 of the body's canonical text, to tell a repeated request from a changed one.
    pub fingerprint: String,
}

impl<T: DeserializeOwned + ToSchema> FromRequest<App> for Valid<T> {
    type Rejection = Problem;

    async fn from_request(request: Request<Body>, app: &App) -> Result<Self, Problem> {
        let media = request.headers().get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
        if media.split(';').next().map(str::trim) != Some("application/json") {
            return Err(Problem::new(Kind::MediaType, "Send the body as application/json."));
        }
        let body = Bytes::from_request(request, app)
            .await
            .map_err(|_| Problem::new(Kind::TooLarge, "Bodies are limited to 1 MiB."))?;
        let NoDuplicateMembers(value) = serde_json::from_slice(&body).map_err(|error| malformed(&error))?;
        // What is refused needs no fingerprint, and may be large.
        refused(app, app.schemas.component(&T::name()), &value, |fault| fault)?;
        let fingerprint = fingerprint(&value);
        let value = read(value, |fault| fault)?;
        Ok(Self { value, fingerprint })
    }
}

fn malformed(error: &serde_json::Error) -> Problem {
    let detail = if error.is_data() { error.to_string() } else { format!("not JSON: {error}") };
    Problem::new(Kind::Malformed, detail.clone()).with_errors(vec![FieldFault::at("", "malformed", detail)])
}

/// Checks a body against the schema of `T` and reads it.
pub fn checked_body<T: DeserializeOwned + ToSchema>(app: &App, value: Value) -> Result<T, Problem> {
    refused(app, app.schemas.component(&T::name()), &value, |fault| fault)?;
    read(value, |fault| fault)
}

/// Checks the parameters of a query against their schema and reads them.
pub fn checked_query<T: DeserializeOwned>(
    app: &App,
    schema: Result<&Schema, String>,
    members: Map<String, Value>,
) -> Result<T, Problem> {
    let parameter = |fault: FieldFault| {
        let name = fault.pointer.as_deref().unwrap_or_default().trim_start_matches("#/").to_owned();
        FieldFault::parameter(name, &fault.code, fault.detail)
    };
    let value = Value::Object(members);
    refused(app, schema, &value, parameter)?;
    read(value, parameter)
}

fn refused(
    app: &App,
    schema: Result<&Schema, String>,
    value: &Value,
    place: impl Fn(FieldFault) -> FieldFault,
) -> Result<(), Problem> {
    let faults = schema.and_then(|schema| app.schemas.faults(schema, value)).map_err(|error| {
        tracing::error!(error, "schema");
        Problem::new(Kind::Fault, "The server could not read the request. It is logged under the request id.")
    })?;
    if faults.is_empty() { Ok(()) } else { Err(Problem::invalid(faults.into_iter().map(place).collect())) }
}

fn read<T: DeserializeOwned>(value: Value, place: impl Fn(FieldFault) -> FieldFault) -> Result<T, Problem> {
    let mut track = Track::new();
    T::deserialize(PathDeserializer::new(value, &mut track)).map_err(|error| {
        let pointer = track
            .path()
            .iter()
            .fold(String::new(), |path, segment| path + "/" + &segment.to_string())
            .replace(['[', ']'], "");
        Problem::invalid(vec![place(FieldFault::at(pointer, "invalid", error.to_string()))])
    })
}

/// A JSON value in which no object names a member twice. `serde_json` alone would take the last and drop the others.
struct NoDuplicateMembers(Value);

impl<'de> Deserialize<'de> for NoDuplicateMembers {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Visitor;
        impl<'de> serde::de::Visitor<'de> for Visitor {
            type Value = NoDuplicateMembers;

            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("a JSON value")
            }
            fn visit_bool<E>(self, v: bool) -> Result<NoDuplicateMembers, E> {
                Ok(NoDuplicateMembers(v.into()))
            }
            fn visit_i64<E>(self, v: i64) -> Result<NoDuplicateMembers, E> {
                Ok(NoDuplicateMembers(v.into()))
            }
            fn visit_u64<E>(self, v: u64) -> Result<NoDuplicateMembers, E> {
                Ok(NoDuplicateMembers(v.into()))
            }
            fn visit_f64<E>(self, v: f64) -> Result<NoDuplicateMembers, E> {
                // A whole number is one, however it is written: 12.0 is 12.
                let whole = v.trunc().total_cmp(&v).is_eq().then(|| v.to_string().parse::<i64>().ok()).flatten();
                Ok(NoDuplicateMembers(whole.map_or_else(|| v.into(), Value::from)))
            }
            fn visit_str<E>(self, v: &str) -> Result<NoDuplicateMembers, E> {
                Ok(NoDuplicateMembers(v.into()))
            }
            fn visit_unit<E>(self) -> Result<NoDuplicateMembers, E> {
                Ok(NoDuplicateMembers(Value::Null))
            }
            fn visit_seq<A: serde::de::SeqAccess<'de>>(self, mut seq: A) -> Result<NoDuplicateMembers, A::Error> {
                let mut items = Vec::new();
                while let Some(NoDuplicateMembers(item)) = seq.next_element()? {
                    items.push(item);
                }
                Ok(NoDuplicateMembers(items.into()))
            }
            fn visit_map<A: serde::de::MapAccess<'de>>(self, mut map: A) -> Result<NoDuplicateMembers, A::Error> {
                let mut members = Map::new();
                while let Some(name) = map.next_key::<String>()? {
                    let NoDuplicateMembers(value) = map.next_value()?;
                    if members.insert(name.clone(), value).is_some() {
                        return Err(serde::de::Error::custom(format!("the member {name:?} stands twice")));
                    }
                }
                Ok(NoDuplicateMembers(members.into()))
            }
        }
        deserializer.deserialize_any(Visitor)
    }
}

/// A query that fits what the API document says of the operation's parameters: no unknown and no repeated one.
#[derive(Debug)]
pub struct ValidQuery<T>(pub T);

impl<T: DeserializeOwned> FromRequestParts<App> for ValidQuery<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let path = parts.extensions.get::<MatchedPath>().map(MatchedPath::as_str).unwrap_or_default();
        let schema = app.schemas.query_at(parts.method.as_str(), path);
        let pairs: Vec<(String, String)> = serde_urlencoded_pairs(parts.uri.query().unwrap_or_default());
        let mut members = Map::new();
        let mut faults = Vec::new();
        for (name, text) in pairs {
            let value = match schema.as_ref().ok().and_then(|schema| schema.member(&name)) {
                Some(member) => member.from_text(&text),
                None => text.into(),
            };
            if members.insert(name.clone(), value).is_some() {
                faults.push(FieldFault::parameter(name, "repeated", "must be given once"));
            }
        }
        if !faults.is_empty() {
            return Err(Problem::new(Kind::Malformed, "A parameter stands twice.").with_errors(faults));
        }
        checked_query(app, schema, members).map(Self)
    }
}

fn serde_urlencoded_pairs(query: &str) -> Vec<(String, String)> {
    axum::extract::Query::<Vec<(String, String)>>::try_from_uri(&format!("/?{query}").parse().unwrap_or_default())
        .map(|axum::extract::Query(pairs)| pairs)
        .unwrap_or_default()
}

/// The id in the path.
#[derive(Debug)]
pub struct PathId<K: IdKind>(pub Id<K>);

impl<K: IdKind> FromRequestParts<App> for PathId<K> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let Path(text) =
            Path::<String>::from_request_parts(parts, app).await.map_err(|_| Problem::not_found(K::NAME))?;
        text.parse().map(Self).map_err(|bad: domain::ids::BadId| {
            Problem::invalid(vec![FieldFault::parameter("id", "wrong_format", bad.to_string())])
        })
    }
}

/// `If-Match`: the version that the caller changes.
#[derive(Debug, Clone, IntoParams)]
#[into_params(parameter_in = Header)]
pub struct IfMatch {
    /// The version you read, in quotes: `"v3"`. Required, so that nobody's work is overwritten unseen. `*` takes any.
    #[param(rename = "If-Match", value_type = String, pattern = "^(\\*|\"v[1-9][0-9]{0,8}\")$", max_length = 12, example = "\"v3\"")]
    pub versions: Versions,
}

impl FromRequestParts<App> for IfMatch {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, Problem> {
        let Some(text) = text_header(&parts.headers, header::IF_MATCH.as_str())? else {
            return Err(Problem::new(
                Kind::VersionRequired,
                "Send If-Match with the version you read, such as \"v3\" in quotes.",
            ));
        };
        if text.trim() == "*" {
            return Ok(Self { versions: None });
        }
        // A weak tag never matches a strong comparison, and an unknown tag matches nothing: both mean "not this version".
        // The text itself must be the tag: "v01" and "v+1" read as one and name nothing.
        let version = |tag: &str| {
            let version: i64 = tag.strip_prefix("\"v")?.strip_suffix('"')?.parse().ok()?;
            (tag == format!("\"v{version}\"")).then_some(version)
        };
        let known: Vec<i64> = text.split(',').filter_map(|tag| version(tag.trim())).collect();
        Ok(Self { versions: Some(Value::from(known).to_string()) })
    }
}

/// `If-None-Match`: the version that the caller has already.
#[derive(Debug, Clone)]
pub struct IfNoneMatch(Option<String>);

impl FromRequestParts<App> for IfNoneMatch {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, Problem> {
        text_header(&parts.headers, header::IF_NONE_MATCH.as_str()).map(Self)
    }
}

impl IfNoneMatch {
    /// Whether the caller has this tag, by weak comparison.
    pub fn has(&self, tag: &str) -> bool {
        self.0.as_deref().is_some_and(|list| {
            list.trim() == "*" || list.split(',').any(|known| known.trim().trim_start_matches("W/") == tag)
        })
    }
}

/// `Idempotency-Key`: makes a repeated POST harmless.
#[derive(Debug, Clone, IntoParams)]
#[into_params(parameter_in = Header)]
pub struct IdempotencyKey {
    /// A text of your own making, new for each new request. The same key with the same request gets the first answer again
    /// for 90 days; with another request it is refused. Counted for each person and route.
    #[param(
        rename = "Idempotency-Key",
        value_type = String,
        required = false,
        pattern = "^([A-Za-z0-9_:.-]{16,64}|\"[A-Za-z0-9_:.-]{16,64}\")$",
        min_length = 16,
        max_length = 66,
        example = "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a10"
    )]
    pub key: Option<String>,
}

impl FromRequestParts<App> for IdempotencyKey {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, Problem> {
        let Some(text) = text_header(&parts.headers, "idempotency-key")? else { return Ok(Self { key: None }) };
        let bare = text.strip_prefix('"').and_then(|t| t.strip_suffix('"')).unwrap_or(&text);
        let plain = bare.bytes().all(|b| b.is_ascii_alphanumeric() || b"_:.-".contains(&b));
        if !plain || !(16..=64).contains(&bare.len()) {
            let detail = "must have 16 to 64 characters out of letters, digits and _ : . -";
            return Err(Problem::new(Kind::Malformed, format!("Idempotency-Key {detail}."))
                .with_errors(vec![FieldFault::parameter("Idempotency-Key", "wrong_format", detail)]));
        }
        Ok(Self { key: Some(bare.to_owned()) })
    }
}

fn text_header(headers: &HeaderMap, name: &str) -> Result<Option<String>, Problem> {
    let values: Vec<_> = headers.get_all(name).iter().collect();
    match values.as_slice() {
        [] => Ok(None),
        [one] => match one.to_str() {
            Ok(text) => Ok(Some(text.to_owned())),
            Err(_) => Err(Problem::new(Kind::Malformed, format!("The header {name} is not plain text."))),
        },
        _ => Err(Problem::new(Kind::Malformed, format!("The header {name} stands twice."))),
    }
}
