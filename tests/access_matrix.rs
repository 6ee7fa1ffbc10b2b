//! Who may call what: each operation by each kind of caller, compared with the table that somebody approved.

use std::fmt::Write as _;

use harness::{User, approved, contract::operations, world::Company};
use reqwest::Method;
use serde_json::json;

/// An id that names nothing, so that only the decision about access matters.
const NOTHING: &str = "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7aff";

/// An address of the operation in which every variable part has a value.
fn address(template: &str) -> String {
    let path = template
        .replace("{id}", NOTHING)
        .replace("{day}", "2026-09-15")
        .replace("{code}", "us-md")
        .replace("{sha256}", NOTHING);
    assert!(
        !path.contains('{'),
        "If you are here because {template} has a new variable part: say in `address` what to put there."
    );
    path
}

/// Calls with an empty body: whoever is let in is told what is missing, or that the thing is not there.
async fn let_in(user: &User, method: &str, path: &str) -> bool {
    let method = Method::from_bytes(method.as_bytes()).unwrap();
    let body = json!({});
    let body = matches!(method, Method::PUT | Method::POST).then_some(&body);
    let reply = user.send(method, path, &[("if-match", "\"v1\"")], body).await;
    let refused = if user.token.is_some() { 403 } else { 401 };
    let other = if user.token.is_some() { 401 } else { 403 };
    assert_ne!(reply.status, other, "{} told a known caller and an unknown one apart wrongly: {}", path, reply.text);
    assert!(reply.status < 500, "{}: {}", reply.asked, reply.text);
    reply.status != refused
}

async fn callers(company: &Company) -> [(&'static str, User); 5] {
    [
        ("nobody", company.app.nobody()),
        ("technician", company.phone.clone()),
        ("office", company.office.clone()),
        ("owner", company.owner.clone()),
        ("pass", outside(company).await),
    ]
}

/// Somebody with a pass for the whole company.
async fn outside(company: &Company) -> User {
    let _ = company.owner.confirm().await;
    let body = json!({ "name": "Inspector", "whole_company": true, "days": 1 });
    let made = company.owner.post("/api/v1/passes", &body).await.expect(201).body;
    company.app.user(made["token"].as_str().unwrap(), None)
}

/// What the document says about a kind of caller.
fn named(roles: &[String], caller: &str) -> bool {
    match caller {
        "nobody" => roles.is_empty(),
        "pass" => roles.is_empty() || roles.iter().any(|role| role == "pass"),
        _ => roles.is_empty() || roles.iter().any(|role| role == caller || role == "any staff"),
    }
}

#[tokio::test]
async fn each_operation_lets_in_whom_the_approved_table_says() {
    // Signing out ends the tokens of whoever asks, here or everywhere, so each of the two is asked last and of a company of its own.
    let (company, other) = (Company::in_maryland().await, Company::in_maryland().await);
    let (callers, others) = (callers(&company).await, callers(&other).await);
    let mut operations = operations();
    operations.sort_by(|a, b| (&a.1, &a.0).cmp(&(&b.1, &b.0)));
    operations.sort_by_key(|operation| operation.2 == "end_session" || operation.2 == "end_own_sessions");
    let mut rows = Vec::new();
    for (method, template, id, roles) in &operations {
        let path = address(template);
        let mut row = format!("{method:<7}{template:<46}{id:<27}");
        for (caller, user) in if id == "end_own_sessions" { &others } else { &callers } {
            let allowed = let_in(user, method, &path).await;
            assert_eq!(
                allowed,
                named(roles, caller),
                "If you are here because {method} {template} lets in other callers than its `security` names ({caller}): \
                 make the handler's extractor and the roles in `#[utoipa::path]` say the same."
            );
            let _ = write!(row, "{:<12}", if allowed { "allowed" } else { "refused" });
        }
        rows.push(row.trim_end().to_owned());
    }
    rows.sort_by(|a, b| a[7..].cmp(&b[7..]));
    let head = format!("{:<80}{:<12}{:<12}{:<12}{:<12}{}", "", "nobody", "technician", "office", "owner", "pass");
    let table = format!("{head}\n{}\n", rows.join("\n"));
    approved::compare(
        "tests/expected/access_matrix.txt",
        &table,
        "rights changed. A change of rights is approved by committing the new table.",
    );
}

#[tokio::test]
async fn a_bad_token_is_never_taken_for_nobody() {
    let company = Company::in_maryland().await;
    let mut asked = 0;
    for (method, template, id, roles) in operations() {
        if roles.is_empty() || id == "end_session" {
            continue;
        }
        let path = address(&template);
        let method = Method::from_bytes(method.as_bytes()).unwrap();
        for header in ["Bearer sward_made-up", "Basic b3duZXI6b3duZXI=", "Bearer", "bearer  "] {
            let reply = company.app.nobody().send(method.clone(), &path, &[("authorization", header)], None).await;
            let _ = reply.problem(401, "not-signed-in");
            asked += 1;
        }
    }
    assert!(asked > 100, "only {asked} requests were sent");
}
