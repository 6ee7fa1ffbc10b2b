//! The page on which the API is tried: its files are kept compressed, and everybody gets them.

use std::io::Read as _;

use super::*;

#[tokio::test]
async fn the_api_page_brings_its_own_files_and_no_other_server_s() {
    let company = Company::in_maryland().await;
    let page = get(&company, "/api-page/", None).await;
    assert_eq!(page.status(), StatusCode::OK);
    let policy = page.headers()["content-security-policy"].to_str().unwrap().to_owned();
    assert!(policy.starts_with("default-src 'none'; script-src 'self';"), "{policy}");
    let html = page.text().await.unwrap();
    let named: Vec<&str> = html.split('"').filter(|part| part.starts_with("/api-page/")).collect();
    assert_eq!(named, ["/api-page/swagger-ui.css", "/api-page/swagger-ui-bundle.js", "/api-page/start.js"]);
    for path in named {
        let file = get(&company, path, None).await;
        assert_eq!(file.status(), StatusCode::OK, "{path}");
        assert!(file.headers().get("content-encoding").is_none(), "{path}: nobody asked for it compressed");
        assert!(file.text().await.unwrap().len() > 50, "{path}");
    }
    assert_eq!(get(&company, "/api-page/other.js", None).await.status(), StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_file_of_the_api_page_is_the_same_compressed() {
    let company = Company::in_maryland().await;
    let path = "/api-page/swagger-ui.css";
    let plain = get(&company, path, None).await.text().await.unwrap();
    let asked = |coding: &'static str| client().get(company.app.url(path)).header("accept-encoding", coding).send();
    let packed = asked("br, gzip;q=0.8").await.unwrap();
    assert_eq!(packed.headers()["content-encoding"], "gzip");
    let mut text = String::new();
    flate2::read::GzDecoder::new(&*packed.bytes().await.unwrap()).read_to_string(&mut text).unwrap();
    assert_eq!(text, plain);
    let refused = asked("gzip;q=0, identity").await.unwrap();
    assert!(refused.headers().get("content-encoding").is_none(), "gzip was refused by name");
    assert_eq!(refused.text().await.unwrap(), plain);
}
