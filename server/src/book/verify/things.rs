//! What the office wrote, held against the last journal entry about it.

use std::collections::BTreeMap;

use domain::{ids::PersonId, quantity::StockBalance};
use serde::Serialize;
use serde_json::{Value, json};
use sqlx::SqliteConnection;

use crate::{
    book::{
        receipts,
        verify::{
            assignments::Sent,
            history::Told,
            rule_sets::Met,
            since::{Base, Counted},
        },
    },
    scope::Scope,
    store::{
        additions, calibrations, clients, credentials, devices, divisions, doubts, equipment, history, limit_moves,
        lots, measurements, passes, people, product_files, products, programmes, properties, rule_sets, sections,
        settings, sightings, soil_reports,
        verify::{self, Entry},
        visits,
    },
};

/// Members of an answer that other rows decide, so that they may differ from what was written then. A measurement's area is
/// compared as a number.
fn derived(noun: &str) -> &'static [&'static str] {
    match noun {
        // A new measurement makes a new version.
        "section" => &["area_sqft", "measured_on", "version"],
        "measurement" => &["area_sqft", "corrected_by"],
        // Told anew from how the soil was dug.
        "soil_report" => &["cautions", "corrected_by"],
        "product" => &["balance_lb", "remarks"],
        "lot" => &["balance_lb"],
        // What the certificates of that moment were worth.
        "visit" => &["certificate"],
        "property" => &["place_differs"],
        "entry" => &["corrected_by", "entered_by_name"],
        // Told from the texts themselves, which may be destroyed and are held against it apart.
        "addition" => &["texts_sha256", "texts_destroyed"],
        _ => &[],
    }
}

/// Members that an answer got after the first books were written, with what they are where an older entry does not name them.
fn came_later(noun: &str) -> &'static [(&'static str, Option<&'static str>)] {
    match noun {
        "section" => &[("maintenance", Some("unknown")), ("clippings", Some("unknown")), ("shade", Some("unknown"))],
        "measurement" | "soil_report" => &[("corrects", None), ("reason", None), ("not_of_this_lawn", Some("false"))],
        "client" => &[("email", None)],
        "addition" => &[("explains", None)],
        "visit" => &[("programme_id", None), ("round", None), ("target_product_lb_per_1000_sqft", None)],
        "property" => &[("kind", Some("lawn")), ("worked_by", Some("professional")), ("nutrient_plan_on", None)],
        "settings" => {
            &[("rule_sets_months", Some("12")), ("idle_minutes", Some("240")), ("security_log_days", Some("400"))]
        }
        _ => &[],
    }
}

/// What the journal says there must be, counted by table.
#[derive(Debug, Default)]
pub struct Expected {
    rows: BTreeMap<String, i64>,
    told: Told,
    met: Met,
    sent: Sent,
    /// What the next run need not read again.
    counted: Counted,
    /// Up to which moment an earlier run held what grows with the years.
    held_until: Option<i64>,
}

impl Expected {
    /// What there must be besides what an earlier run counted.
    pub fn besides(base: Option<&Base>) -> Self {
        let counted = base.map(|base| base.counted.clone()).unwrap_or_default();
        let met = Met::after(counted.decided_under.clone());
        let held_until = base.map(|_| counted.written_at);
        Self { rows: counted.rows.clone(), met, counted, held_until, ..Self::default() }
    }

    /// What was counted, for the next run.
    pub fn counted(self) -> Counted {
        Counted { decided_under: self.met.decided_under, ..self.counted }
    }

    fn add(&mut self, entry: &Entry, table: &str) {
        *self.rows.entry(table.to_owned()).or_default() += 1;
        if verify::grows(&entry.act) {
            *self.counted.rows.entry(table.to_owned()).or_default() += 1;
        }
    }

    /// Notes what an entry adds.
    pub fn count(&mut self, entry: &Entry, payload: &Value) {
        let table = match entry.act.as_str() {
            "client.added" => "clients",
            "property.added" => "properties",
            "section.added" => "sections",
            "measurement.added" => "measurements",
            "division.added" => "divisions",
            "measurement.confirmed" | "measurement.rejected" => "measurement_confirmations",
            "soil_report.added" => "soil_reports",
            "product.added" => "products",
            "lot.received" => "lots",
            "visit.planned" => "visits",
            "equipment.added" => "equipment",
            "entry.added" => "dated_entries",
            "calibration.added" => "calibrations",
            "product_file.added" => "product_files",
            "programme.added" => "programmes",
            "person.added" | "company.set_up" => "people",
            "credential.added" => "credentials",
            "device.enrolled" => "devices",
            "record.reviewed" => "reviews",
            "attempt.refused" => "attempts",
            "settings.changed" => "settings",
            "clearance.given_back" => "clearance_ends",
            "addition.recorded" => "record_additions",
            "rule_set.counted" => "rule_set_uses",
            "enrolment_code.made" => "enrolment_codes",
            "password_code.made" => "password_codes",
            "limit.moved" => "limit_moves",
            "sighting.added" => "sightings",
            "sighting.confirmed" | "sighting.rejected" => "sighting_confirmations",
            "pass.made" => "passes",
            "pass.ended" => "pass_ends",
            "signing_key.made" => "signing_key",
            _ => "",
        };
        if !table.is_empty() {
            self.add(entry, table);
        }
        if !payload["texts_sha256"].is_null() {
            self.add(entry, "personal_texts");
        }
        if entry.act == "application.recorded" && !payload["used_clearance"].is_null() {
            self.add(entry, "clearance_ends");
        }
        if ["application.recorded", "application.corrected", "stock.moved", "lot.received"]
            .contains(&entry.act.as_str())
        {
            self.add(entry, "stock_movements");
        }
        self.counted.written_at = self.counted.written_at.max(entry.written_at);
        self.told.note(entry, payload);
        self.met.note(entry, payload);
        self.sent.note(entry, payload);
    }

    /// Holds the counts and the dated entries against the tables.
    pub async fn check(&self, connection: &mut SqliteConnection, faults: &mut Vec<String>) -> Result<(), sqlx::Error> {
        for (table, rows) in verify::counts(&mut *connection).await? {
            let expected = self.rows.get(table.as_str()).copied().unwrap_or(0);
            if rows != expected {
                faults.push(format!("{table}: {rows} rows are stored, {expected} stand in the journal"));
            }
        }
        self.met.check(connection, faults).await?;
        self.sent.check(&mut *connection, self.held_until, faults).await?;
        self.told.check(connection, faults).await
    }
}

/// Nouns of what the office wrote, which `now` knows.
pub fn is_thing(noun: &str) -> bool {
    !["application", "attempt", "clearance", "texts"].contains(&noun)
}

/// What stands in the book now about the thing of an entry; nothing for entries about something else.
pub async fn now(connection: &mut SqliteConnection, entry: &Entry) -> Result<Option<Value>, sqlx::Error> {
    /// As it would be answered; null when it is gone.
    fn shown<T: Serialize>(thing: Option<T>) -> Value {
        thing.and_then(|thing| serde_json::to_value(thing).ok()).unwrap_or(Value::Null)
    }
    let subject = entry.subject_id.as_str();
    let noun = entry.act.split('.').next().unwrap_or_default();
    let every = Scope::Company;
    Ok(Some(match noun {
        "entry" => shown(history::get(connection, id(subject)?).await?),
        "client" => shown(clients::get(connection, id(subject)?, every).await?),
        "property" => shown(properties::get(connection, id(subject)?, every).await?),
        "section" => shown(sections::get(connection, id(subject)?, every).await?),
        "soil_report" => shown(soil_reports::get(connection, id(subject)?, every).await?),
        "product" => shown(products::get(connection, id(subject)?).await?),
        "lot" => shown(lots::get(connection, id(subject)?).await?),
        "programme" => shown(programmes::get(connection, id(subject)?).await?),
        "visit" => shown(visits::get(connection, id(subject)?, every).await?),
        "person" => shown(people::get(connection, id(subject)?).await?),
        "company" if !verify::is_followed(&mut *connection, subject, entry.seq, "person.%").await? => {
            shown(people::get(connection, id::<PersonId>(subject)?).await?)
        }
        "credential" => shown(credentials::get(connection, id(subject)?).await?),
        "device" => shown(devices::get(connection, id(subject)?).await?),
        "equipment" => shown(equipment::get(connection, id(subject)?).await?),
        "calibration" => shown(calibrations::get(connection, id(subject)?).await?),
        "product_file" => shown(product_files::get(connection, id(subject)?).await?),
        "division" => shown(divisions::get(connection, id(subject)?, every).await?),
        "measurement" => shown(measurements::get(connection, id(subject)?, every).await?),
        "stock" => shown(verify::movement(connection, subject).await?.map(|(mut movement, mass)| {
            movement["mass_lb"] = json!(StockBalance::from_raw(mass));
            movement
        })),
        "addition" => shown(additions::get(connection, id(subject)?).await?),
        // A start that met versions is held against them as a whole.
        "rule_set" if entry.act != "rule_set.met" => shown(rule_sets::get(connection, id(subject)?).await?),
        "doubt" => shown(doubts::get(connection, id(subject)?).await?),
        "limit" => shown(limit_moves::get(connection, id(subject)?).await?),
        "sighting" => shown(sightings::get(connection, id(subject)?, every).await?),
        "pass" => shown(passes::get(connection, id(subject)?).await?),
        "signing_key" => receipts::told_of(connection).await?,
        "settings" => shown(Some(settings::get(connection).await?)),
        "record" => shown(verify::review(connection, subject).await?),
        _ => return Ok(None),
    }))
}

fn id<T: std::str::FromStr>(text: &str) -> Result<T, sqlx::Error>
where
    T::Err: std::fmt::Display,
{
    crate::store::read(text, "id in the journal")
}

/// Members of the entry that the book says otherwise now.
pub fn differing(noun: &str, payload: &Value, now: &Value) -> Vec<String> {
    let Some(written) = payload.as_object() else { return Vec::new() };
    let differs = |(name, value): &(&String, &Value)| {
        !derived(noun).contains(&name.as_str()) && now.get(name.as_str()).unwrap_or(&Value::Null) != *value
    };
    let mut differing: Vec<String> = written.iter().filter(differs).map(|(name, _)| name.clone()).collect();
    for (name, before) in came_later(noun).iter().filter(|(name, _)| !written.contains_key(*name)) {
        let now = match now.get(*name) {
            Some(Value::Number(number)) => Some(number.to_string()),
            Some(Value::Bool(so)) => Some(so.to_string()),
            other => other.and_then(Value::as_str).map(str::to_owned),
        };
        if now.as_deref() != *before {
            differing.push((*name).to_owned());
        }
    }
    differing
}
