//! Every total, worked out again from labels and records.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::json;
use sqlx::SqliteConnection;

use super::{Found, PAGE};
use crate::{
    acts::correction,
    store::{
        packing::Unpacker,
        verify::{self, Word},
    },
};

/// Each section's sums in the ledger are those of the labels times the last word on every application: of all sections, or of those
/// that are named.
pub async fn check(
    connection: &mut SqliteConnection,
    unpacker: &mut Unpacker,
    sections: Option<&BTreeSet<String>>,
    found: &mut Found,
) -> Result<(), sqlx::Error> {
    let of = sections.map(|sections| json!(sections).to_string());
    let of = of.as_deref();
    let stored: BTreeMap<String, [i64; 5]> = verify::ledger_sums(&mut *connection, of).await?.into_iter().collect();
    let labels = verify::labels(&mut *connection).await?;
    let mut again: BTreeMap<String, [i64; 5]> = BTreeMap::new();
    let mut after = 0;
    loop {
        let words = verify::words(&mut *connection, unpacker, of, after, PAGE).await?;
        let Some(last) = words.last() else { break };
        after = last.seq;
        for Word { id, product_id, content, since, .. } in &words {
            let label = labels.get(product_id).and_then(Option::as_ref);
            let (Ok(lines), Some(label)) = (correction::last_word(content, since), label) else {
                found.faults.push(format!("the content of application {id} cannot be read"));
                continue;
            };
            for (line, _) in lines {
                let section = line.section_id.to_string();
                if sections.is_some_and(|sections| !sections.contains(&section)) {
                    continue;
                }
                let n = label.nutrients_in(line.product_lb);
                let loads = [
                    n.nitrogen_lb.raw(),
                    n.quick_nitrogen_lb.raw(),
                    n.phosphate_lb.raw(),
                    n.potash_lb.raw(),
                    line.product_lb.raw(),
                ];
                let sums = again.entry(section).or_default();
                for (sum, load) in sums.iter_mut().zip(loads) {
                    *sum += load;
                }
            }
        }
    }
    let zero = [0; 5];
    for section in stored.keys().chain(again.keys().filter(|section| !stored.contains_key(*section))) {
        if stored.get(section).unwrap_or(&zero) != again.get(section).unwrap_or(&zero) {
            found.faults.push(format!("the totals of section {section} do not follow from its records"));
        }
    }
    found.sections = stored.len();
    Ok(())
}
