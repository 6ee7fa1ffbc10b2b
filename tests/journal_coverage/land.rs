//! Clients, properties and sections, with what stood when.

use harness::world::Company;
use serde_json::json;

use super::Watch;

pub async fn land(company: &Company, watch: &mut Watch) {
    let office = &company.office;
    let client = json!({ "name": "Client 002", "mailing_address": "2 Street A, Sampletown" });
    let made = watch.one(office.post("/api/v1/clients", &client).await, "client.added").await.id();
    let path = format!("/api/v1/clients/{made}");
    let _ = watch.one(office.put_version(&path, "\"v1\"", &client).await, "client.changed").await;
    let _ = watch.none(office.put(&path, &client).await, 428).await;
    let property = json!({
        "client_id": made, "name": "Home", "address": "2 Street A, Sampletown", "postal_code": "21000",
        "time_zone": "America/New_York", "rule_sets": ["us-md"],
    });
    let made = watch.one(office.post("/api/v1/properties", &property).await, "property.added").await.id();
    let path = format!("/api/v1/properties/{made}");
    let _ = watch.one(office.put_version(&path, "\"v1\"", &property).await, "property.changed").await;
    let section = json!({ "property_id": made, "name": "lawn", "water": "none", "touches_pavement": false });
    let made = watch.one(office.post("/api/v1/sections", &section).await, "section.added").await.id();
    let path = format!("/api/v1/sections/{made}");
    let _ = watch.one(office.put_version(&path, "\"v1\"", &section).await, "section.changed").await;
    let zoysia = json!({ "property_id": section["property_id"], "name": "lawn", "species": "zoysia", "water": "none", "touches_pavement": false });
    let changed = office.put_version(&path, "\"v2\"", &zoysia).await;
    let _ = watch.these(changed, ["entry.added", "limit.moved", "section.changed"]).await;
    dated(company, watch, &path).await;
    let measured =
        json!({ "area_sqft": "9000", "measured_on": "2026-09-01", "method": "wheel", "measured_by": "Office 01" });
    let _ = watch.one(office.post(&format!("{path}/measurements"), &measured).await, "measurement.added").await;
    let larger = company.phone.post(&format!("/api/v1/sections/{}/measurements", company.front), &measured).await;
    let larger = watch.one(larger, "measurement.added").await.id();
    let said = office.put(&format!("/api/v1/measurements/{larger}/confirmation"), &json!({ "holds": false })).await;
    let _ = watch.one(said, "measurement.rejected").await;
    seen(company, watch).await;
    let half = json!({ "since": "2026-09-01", "parts": [{ "name": "front half", "area_sqft": "4100" }] });
    let _ = watch.one(office.post(&format!("{path}/divisions"), &half).await, "division.added").await;
    let report = json!({ "sampled_on": "2026-03-02", "laboratory": "Sample Laboratory", "extractant": "mehlich_3" });
    let _ = watch.one(office.post(&format!("{path}/soil-reports"), &report).await, "soil_report.added").await;
    let tomorrow = json!({ "sampled_on": "2027-03-02", "laboratory": "Sample Laboratory", "extractant": "mehlich_3" });
    let _ = watch.none(office.post(&format!("{path}/soil-reports"), &tomorrow).await, 422).await;
}

/// What a technician sees: what is stricter counts at once, and the rest by what the office says of it.
async fn seen(company: &Company, watch: &mut Watch) {
    let path = format!("/api/v1/sections/{}/sightings", company.front);
    let see = async |feet: &str| {
        let body = json!({ "seen_on": "2026-09-15", "water": "near", "water_distance_ft": feet, "note": "Taped." });
        company.phone.post(&path, &body).await
    };
    let _ = watch.these(see("12").await, ["entry.added", "section.changed", "sighting.added"]).await;
    let say = async |id: &str, holds: bool| {
        company.office.put(&format!("/api/v1/sightings/{id}/confirmation"), &json!({ "holds": holds })).await
    };
    let farther = watch.one(see("30").await, "sighting.added").await.id();
    let _ = watch.one(say(&farther, false).await, "sighting.rejected").await;
    let farther = watch.one(see("40").await, "sighting.added").await.id();
    let _ = watch.these(say(&farther, true).await, ["entry.added", "section.changed", "sighting.confirmed"]).await;
}

/// Entries about the past of what the office has.
async fn dated(company: &Company, watch: &mut Watch, section: &str) {
    let office = &company.office;
    let property = format!("/api/v1/properties/{}", company.property);
    let client = format!("/api/v1/clients/{}", company.client);
    for (thing, facts) in [
        (section, json!({ "species": "bahia" })),
        (property.as_str(), json!({ "postal_code": "21001" })),
        (client.as_str(), json!({ "phone": "555-0101" })),
    ] {
        let entry = json!({ "since": "2026-01-01", "facts": facts, "reason": "Learned late." });
        let written = office.post(&format!("{thing}/history"), &entry).await;
        // What stands now follows, where nothing was said of it since.
        if thing == section {
            let _ = watch.one(written, "entry.added").await;
        } else {
            let noun = if thing == property { "property.changed" } else { "client.changed" };
            let _ = watch.these(written, [noun, "entry.added"]).await;
        }
        let unknown = json!({ "since": "2026-01-01", "facts": { "colour": "green" }, "reason": "x" });
        let _ = watch.none(office.post(&format!("{thing}/history"), &unknown).await, 422).await;
    }
}
