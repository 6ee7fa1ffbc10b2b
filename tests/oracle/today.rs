//! Changes of what is so today, in its own forms: years that are over are told as before.

use serde_json::{Value, json};

use super::{
    model::{LIMITS, Since, enter, on_day},
    play::Play,
};

impl Play {
    /// What is told of the year that is over: of the land, and of everybody whose it ever was.
    pub(super) async fn past_years(&self) -> Vec<String> {
        let year = self.model.today.year() - 1;
        let mut told = Vec::new();
        let clients = self.of.clients.iter().map(|id| format!("client_id={id}"));
        for whose in clients.chain([format!("property_id={}", self.of.property)]) {
            let reply = self.owner.get(&format!("/api/v1/statements?year={year}&{whose}")).await;
            told.push(if reply.status == 404 {
                "not found".to_owned()
            } else {
                // The receipt is another one each time, as the moment of preparation is.
                let mut statement = reply.expect(200).body;
                statement["receipt"] = Value::Null;
                statement.to_string()
            });
        }
        told
    }

    /// Changes something of today in its own form.
    pub(super) async fn today(&mut self, section: usize, what: u8, value: u8) {
        let today = self.model.today;
        let lawn = format!("/api/v1/sections/{}", self.of.sections[section]);
        match what % 4 {
            0 => {
                let client = usize::from(value) % self.of.clients.len();
                let body =
                    json!({ "name": format!("Client 00{} ({value})", client + 1), "mailing_address": "7 Street C" });
                self.put(&format!("/api/v1/clients/{}", self.of.clients[client]), body).await;
            }
            1 => {
                let place = format!("/api/v1/properties/{}", self.of.property);
                let body = self.as_it_is(&place, &[("address", json!(format!("{value} New Street")))]).await;
                self.put(&place, body).await;
            }
            2 => {
                let body = self.as_it_is(&lawn, &[("name", json!(format!("lawn {value}")))]).await;
                self.put(&lawn, body).await;
            }
            _ => {
                let species = usize::from(value) % LIMITS.len();
                let stood = on_day(&self.model.sections[section].turf, today);
                let body = self.as_it_is(&lawn, &[("species", json!(LIMITS[species].0))]).await;
                self.put(&lawn, body).await;
                if species != stood {
                    let entries = self.office.get(&format!("{lawn}/history")).await.expect(200).body;
                    let entry = entries["items"].as_array().unwrap().last().unwrap()["id"].as_str().unwrap().to_owned();
                    let entry = Since { id: entry, day: Some(today), value: species };
                    enter(&mut self.model.sections[section].turf, None, entry);
                }
            }
        }
    }

    async fn put(&self, address: &str, body: Value) {
        let _ = self.office.put_version(address, "*", &body).await.expect(200);
    }

    /// What the first entry of a thing names, as it is now, and otherwise in some members.
    async fn as_it_is(&self, address: &str, otherwise: &[(&str, Value)]) -> Value {
        let now = self.office.get(address).await.expect(200).body;
        let entries = self.office.get(&format!("{address}/history")).await.expect(200).body;
        let mut body = entries["items"][0]["facts"].clone();
        for (name, value) in body.as_object_mut().unwrap() {
            *value = now[name.as_str()].clone();
        }
        if !now["property_id"].is_null() {
            body["property_id"] = now["property_id"].clone();
        }
        for (name, value) in otherwise {
            body[*name] = value.clone();
        }
        body
    }
}
