//! Labels and safety data sheets: they come in as files, are kept once by their hash, and are read on the phone as they came.

use harness::{new_id, world::Company};
use reqwest::Method;
use serde_json::json;
use sha2::{Digest, Sha256};

/// A file of two bytes above a hundred, so that text would not do.
const PDF: &[u8] = b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj<</Type/Catalog>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n";
const PNG: &[u8] = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01\0\0\0\x01\x08\0\0\0\0\x3a\x7e\x9b\x55";
const JPEG: &[u8] = b"\xff\xd8\xff\xe0\0\x10JFIF\0\x01\x01\0\0\x01\0\x01\0\0\xff\xd9";

fn sha256(bytes: &[u8]) -> String {
    domain::journal::hex(&Sha256::digest(bytes))
}

fn files(product: &str, query: &str) -> String {
    format!("/api/v1/products/{product}/files?{query}")
}

#[tokio::test]
async fn a_file_is_read_back_as_it_came() {
    let company = Company::in_maryland().await;
    let (office, phone) = (&company.office, &company.phone);
    for (media, bytes, query, name) in [
        ("application/pdf", PDF, "kind=label", "label"),
        ("image/png", PNG, "kind=safety_data_sheet&dated=2026-01-15", "safety-data-sheet"),
        ("image/jpeg", JPEG, "kind=label", "label"),
    ] {
        let made = office.post_file(&files(&company.feed, query), media, bytes).await.expect(201);
        let hash = sha256(bytes);
        assert_eq!((&made.body["sha256"], &made.body["size_bytes"]), (&json!(hash), &json!(bytes.len())));
        assert_eq!(made.body["media_type"], media);
        let path = format!("/api/v1/product-files/{}", made.id());
        assert_eq!(made.header("location"), Some(path.as_str()));
        assert_eq!(phone.get(&path).await.expect(200).body, made.body);
        let read = phone.get(&format!("{path}/content")).await.expect(200);
        assert_eq!(read.bytes, bytes, "{media}");
        assert_eq!(
            (read.header("content-type"), read.header("x-content-type-options")),
            (Some(media), Some("nosniff"))
        );
        let tag = format!("\"{hash}\"");
        assert_eq!(read.header("etag"), Some(tag.as_str()));
        let ending = media.rsplit('/').next().unwrap().replace("jpeg", "jpg");
        let disposition = format!("inline; filename=\"{name}-{}.{ending}\"", &hash[..12]);
        assert_eq!(read.header("content-disposition"), Some(disposition.as_str()));
        // No script may run, whatever a viewer finds in the file.
        let policy = read.header("content-security-policy").unwrap();
        assert!(policy.starts_with("default-src 'none';") && !policy.contains("script-src"), "{policy}");
        let known = phone.get_with(&format!("{path}/content"), &[("if-none-match", &tag)]).await.expect(304);
        assert_eq!((known.bytes.len(), known.header("etag")), (0, Some(tag.as_str())));
    }
    let list = phone.get(&files(&company.feed, "limit=2")).await.expect(200).body;
    let kinds: Vec<_> = list["items"].as_array().unwrap().iter().map(|file| file["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["label", "safety_data_sheet"]);
    assert_eq!(list["items"][1]["dated"], "2026-01-15");
    assert!(list["next_cursor"].is_string());
}

#[tokio::test]
async fn the_same_bytes_are_kept_once() {
    let company = Company::in_maryland().await;
    let label = json!({ "form": "granular", "nitrogen_percent": "10", "slow_nitrogen_percent": "0", "phosphate_percent": "0", "potash_percent": "0" });
    let other = harness::world::product(&company.office, "Feed 10-0-0", &label).await;
    let send = async |product: &str, query: &str, key: &str| {
        let headers = [("content-type", "application/pdf"), ("idempotency-key", key)];
        company.office.send_text(Method::POST, &files(product, query), &headers, PDF.to_vec()).await
    };
    let first = send(&company.feed, "kind=label", "first-key-of-the-file").await.expect(201);
    let again = send(&company.feed, "kind=label", "first-key-of-the-file").await.expect(201);
    assert_eq!((again.header("idempotency-replayed"), &again.body), (Some("true"), &first.body));
    let _ = send(&company.feed, "kind=label", "other-key-of-the-file").await.problem(409, "conflict");
    let _ = send(&other, "kind=label", "first-key-of-the-file").await.problem(422, "idempotency-key-reused");
    let _ = send(&other, "kind=label", "third-key-of-the-file").await.expect(201);
    let folder = company.app.stop().await;
    let connection = rusqlite::Connection::open(folder.path().join("book.db")).unwrap();
    let count = |table: &str| -> i64 {
        connection.query_row(&format!("SELECT count(*) FROM {table}"), [], |row| row.get(0)).unwrap()
    };
    assert_eq!((count("file_bodies"), count("product_files")), (1, 2));
}

#[tokio::test]
async fn only_a_file_that_is_what_it_says_is_taken() {
    let company = Company::in_maryland().await;
    let path = files(&company.feed, "kind=label");
    let send = async |media: &str, bytes: &[u8]| company.office.post_file(&path, media, bytes).await;
    for (media, bytes) in [
        ("application/pdf", PNG),
        ("image/png", JPEG),
        ("image/jpeg", PDF),
        ("image/png", b""),
        ("application/pdf", b"<html>%PDF-"),
    ] {
        let refused = send(media, bytes).await.problem(422, "invalid");
        assert!(refused.text.contains("is not what Content-Type says"), "{}", refused.text);
    }
    for media in ["text/html", "application/json", "image/svg+xml", "multipart/form-data; boundary=x"] {
        let refused = send(media, PDF).await.problem(415, "media-type");
        assert!(refused.text.contains("application/pdf"), "{}", refused.text);
    }
    let mut large = PDF.to_vec();
    large.resize(4 * 1024 * 1024, b' ');
    let _ = send("application/pdf", &large).await.expect(201);
    large.push(b' ');
    let refused = send("application/pdf", &large).await.problem(413, "too-large");
    assert!(refused.text.contains("4 MiB"), "{}", refused.text);
    let send = async |path: &str| company.office.post_file(path, "application/pdf", PDF).await;
    assert_eq!(
        send(&files(&company.feed, "dated=yesterday")).await.problem(422, "invalid").faults(),
        ["dated", "kind"]
    );
    let _ = send(&files(&new_id(), "kind=label")).await.problem(404, "not-found");
    let _ = company.phone.post_file(&path, "application/pdf", PDF).await.problem(403, "not-allowed");
    let _ = company.app.nobody().post_file(&path, "application/pdf", PDF).await.problem(401, "not-signed-in");
    let _ = company.phone.get(&format!("/api/v1/product-files/{}/content", new_id())).await.problem(404, "not-found");
    // A JSON body is bounded as before.
    let long = json!({ "name": "x".repeat(1_100_000) });
    let _ = company.office.post("/api/v1/clients", &long).await.problem(413, "too-large");
}
