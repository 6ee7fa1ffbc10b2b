//! The operator's folder of rule files, read again while the server is at work.

use std::time::Duration;

use domain::law::EMBEDDED;
use harness::world::Company;
use server::{rules_folder::read_again, serve::renew_on_hangup};

/// Codes of rule sets in a member of the list.
async fn codes(company: &Company, member: &str) -> Vec<String> {
    let list = company.phone.get("/api/v1/rule-sets").await.expect(200).body;
    list[member].as_array().unwrap().iter().map(|about| about["code"].as_str().unwrap().to_owned()).collect()
}

#[tokio::test]
async fn a_folder_is_read_again_and_a_faulty_one_changes_nothing() {
    let company = Company::in_maryland().await;
    let folder = tempfile::tempdir().unwrap();
    let put = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    let (_, of_company) = EMBEDDED.iter().find(|(name, _)| *name == "company.toml").unwrap();
    let cooler = of_company.replacen("value = \"85\"", "value = \"80\"", 1);
    assert_ne!(&cooler, of_company);
    let before = codes(&company, "items").await;
    // An equal set, with a place of its own beside it, which nobody lies in.
    put("company.toml", of_company);
    let (_, model) = EMBEDDED.iter().find(|(name, _)| *name == "us-md.toml").unwrap();
    let state = model.replace("us-md", "us-zz").replacen("name = \"Maryland\"", "name = \"An invented state\"", 1);
    put("us-zz.toml", &state);
    read_again(company.app.beside(), folder.path()).await;
    let mut with = before.clone();
    with.push("us-zz".to_owned());
    with.sort();
    let mut now = codes(&company, "items").await;
    now.sort();
    assert_eq!(now, with);
    assert_eq!(codes(&company, "waiting").await, Vec::<String>::new());
    // Another version of what binds a property waits, as after a start, and the same lawn is judged by what counts.
    put("company.toml", &cooler);
    read_again(company.app.beside(), folder.path()).await;
    assert_eq!(codes(&company, "waiting").await, ["company"]);
    let waits = company.office.get("/api/v1/rule-sets/company/waiting").await.expect(200).body;
    let confirmation = serde_json::json!({ "hash": waits["waits"]["hash"] });
    let _ = company.owner.put("/api/v1/rule-sets/company/confirmation", &confirmation).await.expect(200);
    assert_eq!(codes(&company, "waiting").await, Vec::<String>::new());
    // One faulty file, and nothing of the folder is taken.
    put("us-zz.toml", "code = \"us-zz\"\n");
    put("company.toml", of_company);
    read_again(company.app.beside(), folder.path()).await;
    assert_eq!(codes(&company, "waiting").await, Vec::<String>::new());
    let mut now = codes(&company, "items").await;
    now.sort();
    assert_eq!(now, with);
    let folder = company.app.stop().await;
    let found = server::book::verify::check_file(&folder.path().join("book.db")).await.unwrap();
    assert_eq!(found.faults, Vec::<String>::new());
}

#[tokio::test]
async fn the_signal_makes_the_server_read_it() {
    let company = Company::in_maryland().await;
    let folder = tempfile::tempdir().unwrap();
    let (_, of_company) = EMBEDDED.iter().find(|(name, _)| *name == "company.toml").unwrap();
    let cooler = of_company.replacen("value = \"85\"", "value = \"80\"", 1);
    std::fs::write(folder.path().join("company.toml"), cooler).unwrap();
    let rules = (company.app.beside().clone(), folder.path().to_owned());
    let renewing = tokio::spawn(renew_on_hangup(None, Some(rules)));
    for _ in 0..200 {
        // The task that waits for the signal may not wait yet.
        if renewing.is_finished() {
            break;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
        let id = std::process::id().to_string();
        assert!(std::process::Command::new("kill").args(["-HUP", &id]).status().unwrap().success());
        if codes(&company, "waiting").await == ["company"] {
            break;
        }
    }
    assert_eq!(codes(&company, "waiting").await, ["company"]);
    renewing.abort();
}
