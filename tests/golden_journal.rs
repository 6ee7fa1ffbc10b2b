//! What acts write into the journal, byte for byte: what was written by one version must be what the next one writes.

use domain::{
    journal::{BEGINNING, Entry},
    law::Lawbook,
};
use harness::{TestApp, approved, world::Company};
use rusqlite::Connection;
use serde_json::{Value, json};

use crate::packed;

/// An invented state with one closed season, so that no change of real law changes what is compared.
const LAW: &str = r#"code = "us-zz"
name = "An invented state"
level = "state"
last_checked = 2026-03-01
coverage = "An invented closed season only."
local_rules = "absent"

[[rule]]
id = "us-zz.season"
kind = "window"
binds = "applicator"
audience = ["professional", "household"]
unit = "lb/ksf"

[[rule.value]]
from = 2016-10-01
first_barred = "12-01"
last_barred = "02-15"
per = "application"
caps = { nitrogen_total = "0" }
cite = "An invented ordinance"
href = "https://example.org/ordinance"
mark = "read"
"#;

/// The id of a record that a phone made.
fn id(of: u8) -> String {
    format!("0199a000-0000-7000-8000-0000000000{of:02x}")
}

/// Everything that acts do: hold room, use it, record, refuse, record beyond the rules, correct and take back.
async fn acts(company: &Company) {
    let (phone, office) = (&company.phone, &company.office);
    let at = |noun: &str, of: u8| format!("/api/v1/{noun}/{}", id(of));
    let mut plan = company.plan(&company.front, "20.5");
    plan["lines"] = json!([
        { "section_id": company.front, "target_nitrogen_lb_per_1000_sqft": "0.6" },
        { "section_id": company.rear, "treated_area_sqft": "4000", "product_lb": "9.75" },
    ]);
    let _ = phone.put(&at("clearances", 1), &plan).await.expect(201);
    let mut record = company.record(&company.front, "20.5");
    record["clearance_id"] = json!(id(1));
    record["sent_at"] = json!("2026-09-15T10:20:00-04:00");
    record["notes"] = json!("Gate \u{201c}B\u{201d}, 4 \u{b0}C in the shade.\nDog in the yard.");
    record["lines"][0]["treated_area_sqft"] = json!("8000");
    let _ = phone.put(&at("applications", 2), &record).await.expect(201);
    let mut moved = company.record(&company.rear, "3.25");
    moved["phone_started_at"] = json!("2026-09-15T09:05:00-04:00");
    moved["phone_finished_at"] = json!("2026-09-15T09:41:00-04:00");
    moved["clock_jump_s"] = json!(600);
    let _ = phone.put(&at("applications", 3), &moved).await.expect(201);
    let mut ahead = company.record(&company.rear, "1");
    ahead["finished_at"] = json!("2026-09-15T11:00:00-04:00");
    let refused = phone.put(&at("applications", 4), &ahead).await.problem(422, "stopped-by-rules");
    let keys: Vec<Value> = refused.body["findings"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|finding| finding["verdict"] == "stop")
        .map(|finding| finding["key"].clone())
        .collect();
    ahead["acknowledged"] = json!(keys);
    ahead["reason"] = json!("The phone\u{2019}s clock cannot be put right.");
    ahead["applied_by"] = json!(phone.id);
    let _ = office.put(&at("applications", 4), &ahead).await.expect(201);
    let mut late = company.plan(&company.front, "1");
    late["planned_on"] = json!("2026-09-16");
    late.as_object_mut().unwrap().remove("ground");
    let _ = office.put(&at("clearances", 5), &late).await.expect(201);
    let change = json!({
        "application_id": id(2), "reason": "Weighed again.",
        "change": { "lines": [{ "section_id": company.front, "product_lb": "21.25" }, { "section_id": company.rear, "product_lb": "0.5" }] },
    });
    let _ = phone.put(&at("corrections", 6), &change).await.expect(201);
    let back = json!({ "application_id": id(2), "reason": "Another lawn.", "replaces": id(6) });
    let _ = office.put(&at("corrections", 7), &back).await.expect(201);
}

#[tokio::test]
async fn what_acts_write_is_the_same_byte_for_byte() {
    let law = Lawbook::from_texts(&[("us-zz.toml", LAW)]).unwrap();
    let company = Company::on(TestApp::counting(law).await, &["us-zz"]).await;
    acts(&company).await;
    let book = Connection::open(company.app.file()).unwrap();
    packed::with_functions(&book);
    let mut written = book
        .prepare(&format!(
            "SELECT j.seq, j.written_at, j.person_id, j.device_id, j.act, j.subject_id, unpacked(j.packed, {}, 0), j.previous_hash, j.hash
             FROM journal AS j
             WHERE j.act IN ('clearance.granted', 'application.recorded', 'attempt.refused', 'application.corrected') ORDER BY j.seq",
            packed::PATTERN
        ))
        .unwrap();
    let mut rows = written.query([]).unwrap();
    let (mut told, mut chain) = (String::new(), BEGINNING.to_owned());
    while let Some(row) = rows.next().unwrap() {
        let text = |at: usize| row.get::<_, String>(at).unwrap();
        let (person, device): (Option<String>, Option<String>) = (row.get(2).unwrap(), row.get(3).unwrap());
        let (act, subject, payload) = (text(4), text(5), text(6));
        let entry = Entry {
            seq: row.get(0).unwrap(),
            written_at_ms: row.get(1).unwrap(),
            person_id: person.as_deref(),
            device_id: device.as_deref(),
            act: &act,
            subject_id: &subject,
            payload: &payload,
        };
        assert_eq!(entry.hash(&text(7)), text(8), "what is told here is what the book has hashed");
        // Chained from the first of these, so that what the set-up of a company writes is no matter here.
        chain = entry.hash(&chain);
        for line in [&format!("{} {act} {subject}", entry.seq), &payload, &chain] {
            told.push_str(line);
            told.push('\n');
        }
    }
    assert_eq!(told.lines().count(), 3 * 8, "two clearances, three records, one refusal, two corrections");
    let advice =
        "acts write other bytes than they did. What stands in a book already cannot follow: say why it may differ.";
    approved::compare("tests/expected/journal_of_acts.txt", &told, advice);
}
