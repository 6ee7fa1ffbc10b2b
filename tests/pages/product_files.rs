//! Labels and safety data sheets, sent by a form and linked from the product.

use harness::world::Company;

use super::visitor::{Visitor, written};

const PDF: &[u8] = b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj<</Type/Catalog>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n";

#[tokio::test]
async fn a_label_is_added_and_linked() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let product = format!("/office/products/{}", company.feed);
    assert!(office.open(&product).await.html.contains("▲ No file is kept yet"));
    let form = office.open(&format!("{product}/files/new")).await;
    let before = written(&company).await;
    // All faults at once: what it is, its day, and that no file was chosen.
    let refused = office.send_file(&form, &[("dated", "lately")], ("", b"")).await;
    assert_eq!(refused.status, 422);
    for name in ["kind", "dated", "file"] {
        assert!(refused.beside(name, "fault").starts_with('■'), "{name}: {}", refused.html);
    }
    assert_eq!(refused.value("dated"), "lately");
    let about = [("kind", "safety_data_sheet"), ("dated", "2026-01-15")];
    let web = office.send_file(&refused, &about, ("sheet.pdf", b"<html>%PDF-1.7")).await;
    assert!(web.beside("file", "fault").contains("is no PDF, PNG or JPEG by its content"), "{}", web.html);
    let mut large = PDF.to_vec();
    large.resize(4 * 1024 * 1024 + 1, b' ');
    let large = office.send_file(&web, &about, ("sheet.pdf", &large)).await;
    assert_eq!(large.status, 422);
    assert!(large.beside("file", "fault").contains("larger than 4 MiB"), "{}", large.html);
    // One that is larger than anything that is read comes back in the same way, with what was typed before it.
    let huge = vec![b' '; 17 * 1024 * 1024];
    let huge = office.send_file(&large, &about, ("sheet.pdf", &huge)).await;
    assert!(huge.beside("file", "fault").contains("larger than 4 MiB"), "{}", huge.html);
    assert_eq!((huge.value("kind").as_str(), huge.value("dated").as_str()), ("safety_data_sheet", "2026-01-15"));
    assert_eq!(written(&company).await, before);
    let done = office.send_file(&large, &about, ("sheet.pdf", PDF)).await;
    assert_eq!((done.status, done.to.as_deref()), (303, Some(product.as_str())), "{}", done.html);
    assert_eq!(written(&company).await, before + 1);
    // Sent twice it is kept once; from a form of its own it is told.
    let twice = office.send_file(&large, &about, ("sheet.pdf", PDF)).await;
    assert_eq!((twice.status, written(&company).await), (303, before + 1), "{}", twice.html);
    let again = office.send_file(&office.open(&format!("{product}/files/new")).await, &about, ("sheet.pdf", PDF)).await;
    assert_eq!(again.status, 409);
    assert!(again.html.contains("has this very file already"), "{}", again.html);
    let shown = office.open(&product).await.html;
    assert!(shown.contains("Safety data sheet of 2026-01-15, pdf, 1 KiB"), "{shown}");
    let link = shown.split_once("<a href=\"/api/v1/product-files/").unwrap().1.split_once('"').unwrap().0;
    assert_eq!(office.open(&format!("/api/v1/product-files/{link}")).await.status, 200);
    let technician = Visitor::technician(&company).await;
    assert_eq!(technician.send_file(&form, &about, ("sheet.pdf", PDF)).await.status, 403);
    let nobody = Visitor { company: &company, cookie: String::new() };
    assert_eq!(nobody.send_file(&form, &about, ("sheet.pdf", PDF)).await.status, 303);
    // What is no such form is told, and nothing breaks.
    let plain = office.post(&form.action(), &[], &[("sec-fetch-site", "same-origin")]).await;
    assert_eq!(plain.status, 400);
}
