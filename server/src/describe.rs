//! Describes the API from the code, for the test that holds the committed document against it and writes it anew: its head, and what
//! every operation has in common, added in one place instead of in each handler. Only a build with the feature `describe` has this.

mod text;

use domain::{
    ids::RecordId,
    quantity::{LimeCredit, SprayRate},
    soil::lime_rules::{CapOn, SplitRule},
};
use utoipa::{
    OpenApi,
    openapi::{
        Content, HttpMethod, OpenApi as Document, Ref, RefOr, ResponseBuilder,
        header::HeaderBuilder,
        path::{Operation, Parameter, ParameterIn, PathItem},
        security::{Http, HttpAuthScheme, SecurityScheme},
    },
};

use text::spell_out;

use crate::problem::{FieldFault, KINDS, Kind, Problem};

#[derive(OpenApi)]
#[openapi(
    info(
        title = "Swardbook",
        description = "The service-records server of a lawn-care company: how much, and may I, here, today? And afterwards the record.\n\nAmounts are decimal text with the unit in the name of the field. Every error is a problem document (RFC 9457) with all faults at once. What a phone makes (clearances, applications, corrections) is put under an id of its own, so that sending it again is harmless. Rule sets are a working copy of public law with a date of reading: the label and the local authority prevail, and licensed practice decides.",
        license(name = "Apache-2.0", identifier = "Apache-2.0")
    ),
    servers((url = "/", description = "This server.")),
    tags(
        (name = "sessions", description = "Setting up, signing in and out."),
        (name = "people", description = "Staff, their licenses and certificates, and their phones."),
        (name = "clients", description = "Who pays."),
        (name = "properties", description = "The site, and the jurisdictions it lies in."),
        (name = "sections", description = "Lawn sections, their measurements and soil reports."),
        (name = "products", description = "Labels with their files, what follows from them, lots and stock."),
        (name = "equipment", description = "Spreaders and sprayers, their calibrations, and how they drift."),
        (name = "programmes", description = "The season's plan: what goes down when, and what to buy."),
        (name = "visits", description = "Planned stops, a technician's day and its load sheet."),
        (name = "rule sets", description = "The law as this server reads it, with citation and date of reading."),
        (name = "weather", description = "What weather services say of a property, the hours that suit, and what was known at a record."),
        (name = "checks", description = "How much, and may I? Without effect."),
        (name = "clearances", description = "Permission that holds room under the caps."),
        (name = "applications", description = "What was put down."),
        (name = "corrections", description = "Further records that say what is true."),
        (name = "reviews", description = "What the owner must look at."),
        (name = "statements", description = "The year's nutrients, traced to their records."),
        (name = "settings", description = "How the company writes on its pages."),
        (name = "metrics", description = "How the server does, for whoever watches it."),
        (name = "journal", description = "Everything that was written, hash-chained."),
    ),
    components(schemas(Problem, FieldFault, RecordId, LimeCredit, SplitRule, CapOn, SprayRate))
)]
struct Head;

/// The document that `openapi/openapi.json` must be.
pub fn document() -> Document {
    let described = crate::api::routes().described;
    let mut document = Head::openapi();
    document.paths.merge(described.paths);
    let bearer = Http::builder()
        .scheme(HttpAuthScheme::Bearer)
        .description(Some("The token of a session or of an enrolled phone. The names beside it in an operation are the roles that may call it."))
        .build();
    let components = document.components.get_or_insert_default();
    components.schemas.extend(described.schemas);
    components.security_schemes.insert("bearer".to_owned(), RefOr::T(SecurityScheme::Http(bearer)));
    components.schemas.values_mut().for_each(spell_out);
    for about in &KINDS {
        components.responses.insert(component(about.kind), RefOr::T(problem_response(about.kind)));
    }
    for (path, item) in &mut document.paths.paths {
        for (method, operation) in operations(item) {
            complete(path, &method, operation);
        }
    }
    document
}

fn component(kind: Kind) -> String {
    let words = kind.about().slug.split('-');
    words.map(|word| word[..1].to_uppercase() + &word[1..]).collect()
}

fn problem_response(kind: Kind) -> utoipa::openapi::Response {
    let about = kind.about();
    let example = serde_json::json!({
        "type": format!("/problems/{}", about.slug), "code": about.slug, "title": about.title, "status": about.status.as_u16(),
        "detail": about.meaning, "instance": "urn:uuid:01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a10",
    });
    let content = Content::builder().schema(Some(Ref::from_schema_name("Problem"))).example(Some(example)).build();
    let mut response = ResponseBuilder::new()
        .description(format!("{}. {} {}", about.title, about.meaning, about.way_out))
        .content("application/problem+json", content);
    let header = |about: &str| HeaderBuilder::new().description(Some(about)).build();
    match kind {
        Kind::NotSignedIn => response = response.header("WWW-Authenticate", header("How to sign in.")),
        Kind::TooMany | Kind::Busy => response = response.header("Retry-After", header("Seconds to wait.")),
        Kind::QuotaExceeded => {
            response = response
                .header("Retry-After", header("Seconds to wait."))
                .header(
                    "RateLimit",
                    header(
                        "What is left of each budget, as draft-ietf-httpapi-ratelimit-headers-11 has it. Experimental.",
                    ),
                )
                .header("RateLimit-Policy", header("The budgets, as the same draft has them. Experimental."));
        }
        _ => {}
    }
    response.build()
}

fn operations(item: &mut PathItem) -> Vec<(HttpMethod, &mut Operation)> {
    let by_method = [
        (HttpMethod::Get, item.get.as_mut()),
        (HttpMethod::Put, item.put.as_mut()),
        (HttpMethod::Post, item.post.as_mut()),
        (HttpMethod::Delete, item.delete.as_mut()),
        (HttpMethod::Patch, item.patch.as_mut()),
    ];
    by_method.into_iter().filter_map(|(method, operation)| Some((method, operation?))).collect()
}

fn parameters(operation: &Operation) -> impl Iterator<Item = &Parameter> {
    operation.parameters.iter().flatten().filter_map(|parameter| match parameter {
        RefOr::T(parameter) => Some(parameter),
        RefOr::Ref(_) => None,
    })
}

/// Adds the problems that follow from what an operation takes.
fn complete(path: &str, method: &HttpMethod, operation: &mut Operation) {
    let has = |operation: &Operation, place: ParameterIn| {
        parameters(operation).any(|parameter| parameter.parameter_in == place)
    };
    let header = |operation: &Operation, name: &str| parameters(operation).any(|parameter| parameter.name == name);
    let mut kinds = vec![Kind::Fault, Kind::Busy];
    let one_of = |ids: &[&str]| operation.operation_id.as_deref().is_some_and(|id| ids.contains(&id));
    let open = one_of(&["create_company", "create_session", "enrol_device", "replace_forgotten_password"]);
    // Nobody copies everything in a moment who came with a pass.
    let with_pass = serde_json::to_string(&operation.security).is_ok_and(|roles| roles.contains("\"pass\""));
    // A password or a code can be guessed at there.
    if open || with_pass || one_of(&["replace_own_password", "confirm_session"]) {
        kinds.push(Kind::TooMany);
    }
    kinds.push(Kind::QuotaExceeded);
    if !open {
        kinds.push(Kind::NotAllowed);
    }
    kinds.push(Kind::NotSignedIn);
    if has(operation, ParameterIn::Path) || path.ends_with("/checks") || path.ends_with("/statements") {
        kinds.push(Kind::NotFound);
    }
    if has(operation, ParameterIn::Path) || has(operation, ParameterIn::Query) {
        kinds.push(Kind::Invalid);
    }
    if has(operation, ParameterIn::Query) || has(operation, ParameterIn::Header) {
        kinds.push(Kind::Malformed);
    }
    if operation.request_body.is_some() {
        kinds.extend([Kind::Malformed, Kind::Invalid, Kind::MediaType, Kind::TooLarge, Kind::TooSlow]);
        kinds.extend([Kind::Conflict, Kind::NotFound]);
    }
    if header(operation, "If-Match") {
        kinds.extend([Kind::VersionRequired, Kind::VersionOutdated]);
    }
    // What waits may not fit what counts yet, which is told already when it is asked about.
    if matches!(method, HttpMethod::Delete | HttpMethod::Post) || one_of(&["get_waiting_rule_set"]) {
        kinds.push(Kind::Conflict);
    }
    if operation
        .responses
        .responses
        .values()
        .any(|response| matches!(response, RefOr::T(r) if r.content.contains_key("text/csv")))
    {
        kinds.push(Kind::NotAcceptable);
    }
    for kind in kinds {
        let status = kind.about().status.as_u16().to_string();
        let reference = RefOr::Ref(Ref::from_response_name(component(kind)));
        operation.responses.responses.entry(status).or_insert(reference);
    }
}
