//! Copies in storage that speaks the protocol of S3, and copies that are sealed. A stand-in answers here; `.ci/copies` tries a server of
//! that protocol.

use std::{
    collections::BTreeMap,
    path::Path,
    sync::{Arc, Mutex},
    time::Duration,
};

use harness::world::Company;
use server::{
    backups::{Plan, Source, round},
    book::restore,
    config::{Hidden, Restore, Storage, Verify},
    copies::{sealed::Secret, target::Target},
};
use wiremock::{
    Mock, MockServer, Request, Respond, ResponseTemplate,
    matchers::{any, method},
};

use super::{has, put_back, restored};
use crate::backups::{code, names};

const SECRET: &str = "three plain words of a secret";

/// A bucket in memory: what was put there, by its key.
#[derive(Clone, Default)]
struct Stand(Arc<Mutex<BTreeMap<String, Vec<u8>>>>);

impl Stand {
    fn keys(&self) -> Vec<String> {
        self.0.lock().unwrap().keys().cloned().collect()
    }
}

impl Respond for Stand {
    fn respond(&self, request: &Request) -> ResponseTemplate {
        let asked: BTreeMap<String, String> = request.url.query_pairs().into_owned().collect();
        // Who asks must have signed for an hour or more, and never shows the secret.
        let signed = asked.get("X-Amz-Credential").is_some_and(|by| by.starts_with("key-of-tests/"))
            && asked.get("X-Amz-Signature").is_some_and(|text| text.len() == 64)
            && !request.url.as_str().contains("plain");
        if !signed {
            return ResponseTemplate::new(403).set_body_string("<Error><Code>AccessDenied</Code></Error>");
        }
        let key = request.url.path().trim_start_matches("/copies").trim_start_matches('/').to_owned();
        let mut there = self.0.lock().unwrap();
        match request.method.as_str() {
            "PUT" => {
                assert_eq!(request.headers["content-length"].to_str().unwrap(), request.body.len().to_string());
                there.insert(key, request.body.clone());
                ResponseTemplate::new(200)
            }
            "DELETE" => {
                there.remove(&key);
                ResponseTemplate::new(204)
            }
            _ if key.is_empty() => {
                // Two at a time, so that a list has parts.
                let from = asked.get("continuation-token").cloned().unwrap_or_default();
                let found: Vec<(&String, &Vec<u8>)> =
                    there.iter().filter(|(key, _)| key.starts_with(&asked["prefix"]) && **key > from).collect();
                let next = found.get(1).filter(|_| found.len() > 2);
                let next = next.map(|(key, _)| format!("<NextContinuationToken>{key}</NextContinuationToken>"));
                let contents: Vec<String> = found
                    .iter()
                    .take(2)
                    .map(|(key, bytes)| format!("<Contents><Key>{key}</Key><Size>{}</Size></Contents>", bytes.len()))
                    .collect();
                ResponseTemplate::new(200).set_body_string(format!(
                    "<ListBucketResult xmlns=\"http://s3.amazonaws.com/doc/2006-03-01/\"><MaxKeys>2</MaxKeys><IsTruncated>{}</IsTruncated>{}{}</ListBucketResult>",
                    next.is_some(),
                    next.unwrap_or_default(),
                    contents.concat(),
                ))
            }
            _ => match there.get(&key) {
                Some(bytes) => ResponseTemplate::new(200).set_body_bytes(bytes.clone()),
                None => ResponseTemplate::new(404).set_body_string("<Error><Code>NoSuchKey</Code></Error>"),
            },
        }
    }
}

fn storage(server: &MockServer) -> Storage {
    Storage {
        s3_endpoint: Some(server.uri()),
        s3_key_id: Some(Hidden::from("key-of-tests".to_owned())),
        s3_secret: Some(Hidden::from(SECRET.to_owned())),
        ..Storage::default()
    }
}

fn plan(server: &MockServer) -> Plan {
    let target = Target::of("s3://copies/lawn", &storage(server)).unwrap();
    Plan { target, every: Duration::from_mins(1), keep: 1, key: None }
}

#[tokio::test]
async fn copies_lie_in_a_bucket_and_come_back_from_there() {
    let (server, stand) = (MockServer::start().await, Stand::default());
    Mock::given(any()).respond_with(stand.clone()).mount(&server).await;
    let company = Company::in_maryland().await;
    let (source, plan) = (Source::of(company.app.beside()), plan(&server));
    let elsewhere = tempfile::tempdir().unwrap();
    let restore_to = async |from: &str, name: &str| {
        let file = elsewhere.path().join(name);
        let config = Restore { from: from.to_owned(), storage: storage(&server), ..put_back(Path::new("x"), &file) };
        (code(restore::run(&config).await), file)
    };
    assert!(!restore_to("s3://copies/lawn", "none.db").await.0, "there is none yet");
    let mut ids = Vec::new();
    for _ in 0..3 {
        ids.push(company.put_down(&company.rear, "1").await);
        assert!(round(&source, &plan).await.unwrap().is_some());
        assert_eq!(round(&source, &plan).await.unwrap(), None, "nothing was written since");
        company.app.clock.advance(Duration::from_mins(1));
    }
    // One that was begun and has no receipt counts as none, and is taken away; what is not ours stays.
    let keys = stand.keys();
    let whole = keys.iter().find(|key| key.ends_with(".db.zst")).unwrap().clone();
    let mark = &whole["lawn/swardbook-".len()..][..8];
    let undone = format!("lawn/swardbook-{mark}-20300101T000000Z.db.zst");
    let other = "lawn/swardbook-99999999-20300101T000000Z.db.zst".to_owned();
    for key in [&undone, &other] {
        stand.0.lock().unwrap().insert(key.clone(), b"x".to_vec());
    }
    let (done, back) = restore_to("s3://copies/lawn/", "back.db").await;
    assert!(done && ids.iter().all(|id| has(&back, id)));
    let named = format!("s3://copies/{whole}");
    let (done, first) = restore_to(&named, "first.db").await;
    assert!(done && has(&first, &ids[0]) && !has(&first, &ids[2]));
    ids.push(company.put_down(&company.rear, "1").await);
    assert!(round(&source, &plan).await.unwrap().is_some());
    let keys = stand.keys();
    assert!(!keys.contains(&undone) && keys.contains(&other), "{keys:?}");
    // The newest, the whole one that it goes with, and the receipt of each.
    assert_eq!(keys.iter().filter(|key| key.contains(mark)).count(), 4, "{keys:?}");
    assert!(!names(company.app.folder()).iter().any(|name| name.contains("swardbook-")), "nothing is left beside");
    assert_eq!(names(elsewhere.path()), ["back.db", "first.db"]);
}

#[tokio::test]
async fn what_a_storage_refuses_is_told_in_plain_words_and_without_secrets() {
    let company = Company::in_maryland().await;
    for (status, body, words) in [
        (
            403,
            "<Error><Code>SignatureDoesNotMatch</Code></Error>",
            "403 SignatureDoesNotMatch; the key or its secret is wrong",
        ),
        (403, "<Error><Code>RequestTimeTooSkewed</Code></Error>", "the clock of this machine is wrong"),
        (404, "<Error><Code>NoSuchBucket</Code></Error>", "there is no such bucket"),
        (301, "<Error><Code>PermanentRedirect</Code></Error>", "--s3-region or --s3-endpoint"),
        (200, "Welcome to the guest network", "its list cannot be read"),
    ] {
        let server = MockServer::start().await;
        Mock::given(any()).respond_with(ResponseTemplate::new(status).set_body_string(body)).mount(&server).await;
        let said = round(&Source::of(company.app.beside()), &plan(&server)).await.unwrap_err();
        assert!(said.contains(words) && said.contains("s3://copies/lawn/"), "{said}");
        assert!(!said.contains("X-Amz") && !said.contains("key-of-tests"), "{said}");
        assert_eq!(server.received_requests().await.unwrap().len(), 1, "{words}: another try would not help");
    }
    // Nobody listens there.
    let nobody = Storage { s3_endpoint: Some("http://127.0.0.1:9".to_owned()), ..storage(&MockServer::start().await) };
    let target = Target::of("s3://copies/lawn", &nobody).unwrap();
    let said = target.copies("").await.unwrap_err();
    assert!(said.contains("does not answer") && !said.contains("X-Amz"), "{said}");
}

/// What the storage gives back is not what it was given: the copy does not count, and is gone.
#[tokio::test]
async fn a_copy_that_reads_back_otherwise_counts_as_none() {
    let (server, stand) = (MockServer::start().await, Stand::default());
    let cut = stand.clone();
    let gives_less = move |request: &Request| {
        let whole = cut.respond(request);
        if request.url.path().contains(".zst") {
            ResponseTemplate::new(200).set_body_bytes(b"(\xb5/\xfdx")
        } else {
            whole
        }
    };
    Mock::given(method("GET")).respond_with(gives_less).mount(&server).await;
    Mock::given(any()).respond_with(stand.clone()).mount(&server).await;
    let company = Company::in_maryland().await;
    let said = round(&Source::of(company.app.beside()), &plan(&server)).await.unwrap_err();
    assert!(said.contains("s3://copies/lawn/swardbook-"), "{said}");
    assert_eq!(stand.keys(), Vec::<String>::new());
    assert!(!names(company.app.folder()).iter().any(|name| name.contains("swardbook-")));
}

#[tokio::test]
async fn a_storage_that_stumbles_is_asked_again() {
    let (server, stand) = (MockServer::start().await, Stand::default());
    Mock::given(any()).respond_with(ResponseTemplate::new(503)).up_to_n_times(2).mount(&server).await;
    Mock::given(any()).respond_with(stand.clone()).mount(&server).await;
    let company = Company::in_maryland().await;
    assert!(round(&Source::of(company.app.beside()), &plan(&server)).await.unwrap().is_some());
    assert_eq!(stand.keys().len(), 2);
}

#[test]
fn a_place_that_is_none_is_refused_before_anything_is_served() {
    let whole = Storage {
        s3_key_id: Some(Hidden::from("key".to_owned())),
        s3_secret: Some(Hidden::from(SECRET.to_owned())),
        ..Storage::default()
    };
    let refused = |named: &str, storage: &Storage| Target::of(named, storage).unwrap_err();
    assert!(refused("s3://", &whole).contains("the name of a bucket"));
    assert!(refused("s3://copies", &Storage::default()).contains("SWARDBOOK_S3_KEY_ID"));
    assert!(refused("https://storage.example.com/copies", &whole).contains("is no place for copies"));
    for open in ["http://storage.example.com", "ftp://127.0.0.1", "storage.example.com"] {
        let open = Storage { s3_endpoint: Some(open.to_owned()), ..whole.clone() };
        assert!(refused("s3://copies/lawn", &open).contains("--s3-endpoint"), "{open:?}");
    }
    let named = format!("{:?}", Target::of("s3://copies/lawn/", &whole).unwrap());
    assert_eq!(named, "Bucket(s3://copies/lawn/)");
}

/// Only whoever has the key reads a sealed copy; the server that sealed it cannot, and leaves nothing plain where others could read it.
#[tokio::test]
async fn a_sealed_copy_opens_with_its_key_alone() {
    let company = Company::in_maryland().await;
    let (folder, keys) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let (own, wrong) = (keys.path().join("own.key"), keys.path().join("wrong.key"));
    let secret = Secret::make();
    secret.keep(&own).unwrap();
    Secret::make().keep(&wrong).unwrap();
    let plan = Plan { key: Some(secret.public()), ..Plan::to_folder(folder.path(), Duration::from_mins(1), 9) };
    let source = Source::of(company.app.beside());
    let mut copy = String::new();
    let mut ids = Vec::new();
    for _ in 0..2 {
        ids.push(company.put_down(&company.rear, "1").await);
        copy = round(&source, &plan).await.unwrap().unwrap().to_string();
        company.app.clock.advance(Duration::from_mins(1));
    }
    assert!(copy.contains(".since-") && copy.ends_with(".zst.sealed"), "{copy}");
    for name in names(folder.path()) {
        let bytes = std::fs::read(folder.path().join(name)).unwrap();
        assert!(bytes.starts_with(b"swardbook sealed 1\n"));
    }
    assert!(!names(company.app.folder()).iter().any(|name| name.contains("swardbook-")));
    let copy = folder.path().join(copy);
    let elsewhere = tempfile::tempdir().unwrap();
    let with = |identity: Option<&Path>, name: &str| Restore {
        identity: identity.map(Path::to_owned),
        ..put_back(&copy, &elsewhere.path().join(name))
    };
    for identity in [None, Some(wrong.as_path()), Some(keys.path()), Some(copy.as_path())] {
        assert!(!code(restore::run(&with(identity, "none.db")).await), "{identity:?}");
        assert_eq!(names(elsewhere.path()), Vec::<String>::new());
    }
    assert!(code(restore::run(&with(Some(&own), "back.db")).await));
    assert!(ids.iter().all(|id| has(&elsewhere.path().join("back.db"), id)));
    let verify = |identity: &Path| Verify {
        file: copy.clone(),
        against: Vec::new(),
        since: None,
        identity: Some(identity.to_owned()),
    };
    assert!(code(restore::verify(&verify(&own)).await));
    assert!(!code(restore::verify(&verify(&wrong)).await));
    // A plain copy of the same records goes on in the same folder.
    let open = Plan { key: None, ..plan };
    ids.push(company.put_down(&company.rear, "1").await);
    let copy = round(&Source::of(company.app.beside()), &open).await.unwrap().unwrap().to_string();
    let (_folder, book) = restored(&folder.path().join(copy)).await;
    assert!(ids.iter().all(|id| has(&book, id)));
}
