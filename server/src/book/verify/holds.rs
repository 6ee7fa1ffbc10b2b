//! The room that clearances hold, worked out again from what the journal says was granted.

use std::collections::BTreeMap;

use domain::{product::Label, quantity::ProductMass};
use serde_json::{Value, json};
use sqlx::SqliteConnection;

use crate::{
    acts::application::flags,
    store::{self, verify::Entry},
};

/// Holds the lines of a clearance against its entry: what is held is what was granted, by the product's label.
pub async fn check(
    connection: &mut SqliteConnection,
    entry: &Entry,
    payload: &Value,
    faults: &mut Vec<String>,
) -> Result<(), sqlx::Error> {
    if entry.act != "clearance.granted" {
        return Ok(());
    }
    let stored = store::clearances::held(connection, &entry.subject_id).await?;
    let label = stored.label.as_deref().and_then(|label| serde_json::from_str::<Label>(label).ok());
    let expected = label.map(|label| granted(payload, &label));
    if expected.as_ref() != Some(&stored.lines) {
        faults.push(format!("the room that {} holds differs from journal entry {}", entry.subject_id, entry.seq));
    }
    Ok(())
}

/// What a clearance holds by its entry, by section.
fn granted(payload: &Value, label: &Label) -> BTreeMap<String, Value> {
    let asked: BTreeMap<&str, &Value> = payload["content"]["lines"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|line| Some((line["section_id"].as_str()?, &line["parts"])))
        .collect();
    let lines = payload["lines"].as_array().into_iter().flatten();
    let line = |line: &Value| {
        let (section, area, product) = (line[0].as_str()?, line[1].as_i64()?, line[2].as_i64()?);
        let n = label.nutrients_in(ProductMass::from_raw(product));
        let mut parts: Vec<&str> =
            asked.get(section)?.as_array().into_iter().flatten().filter_map(Value::as_str).collect();
        parts.sort_unstable();
        let held = json!([
            area,
            product,
            n.nitrogen_lb.raw(),
            n.quick_nitrogen_lb.raw(),
            n.phosphate_lb.raw(),
            n.potash_lb.raw(),
            flags(label),
            payload["content"]["purpose"],
            payload["row"]["planned_on"],
            payload["row"]["expires_at"],
            parts,
        ]);
        Some((section.to_owned(), held))
    };
    lines.filter_map(line).collect()
}
