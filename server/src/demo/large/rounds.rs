//! The season round by round: the office plans the stops, each technician makes them day by day, the office closes them.

use std::collections::BTreeMap;

use domain::time::{Day, Instant};
use jiff::SignedDuration;
use serde_json::{Value, json};

use super::{
    crew::{Store, Technician},
    land::Plot,
    plants::{self, Plant},
};
use crate::demo::{
    company::{Place, Rate, fair_weather, phone_id},
    http::{Caller, expect, together},
};

/// One pass over the lawns.
#[derive(Debug, Clone, Copy)]
pub struct Round {
    pub number: usize,
    /// The working days, in order.
    pub days: &'static [&'static str],
    /// So many stops a technician makes on a day.
    pub stops: usize,
    /// Where in each technician's list the round begins.
    pub first: usize,
    /// The day on which the office plans it.
    pub eve: &'static str,
    /// Phones are connected anew before it, and product comes.
    pub renews: bool,
    /// Spreaders are calibrated before it; the second one is so many per cent off.
    pub drift: Option<u32>,
}

/// Last autumn, spring, early summer, the light round, and this autumn; the last is all planned.
pub const ROUNDS: [Round; 6] = [
    Round {
        number: 0,
        days: &["2025-10-06", "2025-10-07", "2025-10-08", "2025-10-09", "2025-10-10"],
        stops: 9,
        first: 0,
        eve: "2025-10-02",
        renews: false,
        drift: None,
    },
    Round {
        number: 1,
        days: &["2026-04-06", "2026-04-07", "2026-04-08", "2026-04-09", "2026-04-10"],
        stops: 9,
        first: 0,
        eve: "2026-03-30",
        renews: true,
        drift: Some(3),
    },
    Round {
        number: 2,
        days: &["2026-05-18", "2026-05-19", "2026-05-20", "2026-05-21", "2026-05-22"],
        stops: 9,
        first: 0,
        eve: "2026-05-12",
        renews: false,
        drift: Some(7),
    },
    Round {
        number: 3,
        days: &["2026-06-22", "2026-06-23", "2026-06-24", "2026-06-25", "2026-06-26"],
        stops: 9,
        first: 0,
        eve: "2026-06-16",
        renews: false,
        drift: None,
    },
    // Begun a week ago: the day of the demonstration is in its middle.
    Round {
        number: 4,
        days: &[
            "2026-09-08",
            "2026-09-09",
            "2026-09-10",
            "2026-09-11",
            "2026-09-14",
            "2026-09-15",
            "2026-09-16",
            "2026-09-17",
        ],
        stops: 6,
        first: 15,
        eve: "2026-08-28",
        renews: true,
        drift: Some(12),
    },
    Round {
        number: 5,
        days: &["2026-10-12", "2026-10-13", "2026-10-14", "2026-10-15", "2026-10-16"],
        stops: 9,
        first: 0,
        eve: "2026-09-15",
        renews: false,
        drift: None,
    },
];

/// What a round puts on a property: the product, its lot, hundredths of a pound on 1,000 sq ft, and the target of the visit.
struct Load<'s> {
    product: &'s str,
    lot: &'s str,
    rate: u32,
    target: (&'static str, &'static str),
}

/// One planned stop.
#[derive(Debug)]
pub struct Stop {
    pub place: usize,
    pub technician: usize,
    pub day: Day,
    pub start: Instant,
    pub plant: Option<Plant>,
    pub visit: Value,
    pub visit_id: String,
    pub product_lot: String,
    rate: u32,
}

/// Everything that a round needs to know.
#[derive(Debug)]
pub struct Company<'c> {
    pub plots: &'c [Plot],
    pub places: &'c [Place],
    pub crew: &'c [Technician],
    pub store: &'c Store,
}

const NITROGEN: &str = "target_nitrogen_lb_per_1000_sqft";

impl Company<'_> {
    /// What goes down at a place in a round; nothing where the round passes it by.
    fn load(&self, round: usize, place: usize) -> Option<Load<'_>> {
        let (plot, store) = (self.plots.get(place)?, self.store);
        let frugal = plot.lawns.iter().any(|lawn| lawn.species == "fine_fescue");
        let load = |product, lot: usize, rate: u32, whole, half| Load {
            product,
            lot: store.lots.get(lot).map_or("", String::as_str),
            rate: if frugal { rate / 2 } else { rate },
            target: (NITROGEN, if frugal { half } else { whole }),
        };
        let (spring, feed) = (&store.shelf.spring, &store.shelf.feed);
        let joined_late = place % 6 == 5;
        match round {
            0 if joined_late => None,
            0 => Some(load(feed, 0, 250, "0.6", "0.3")),
            1 | 2 => Some(load(spring, 1, 183, "0.55", "0.275")),
            3 if place < 2 || place == plants::TREATED_BY_MISTAKE => None,
            3 if plot.wants_lime() => Some(Load {
                product: &store.lime,
                lot: store.lots.get(4).map_or("", String::as_str),
                rate: 2_500,
                target: ("target_product_lb_per_1000_sqft", "25"),
            }),
            3 if place % 2 == 1 && place / 45 != 1 => Some(load(&store.light, 2, 100, "0.18", "0.09")),
            // The first two are the main job's.
            4 if place > 1 => Some(load(feed, 3, 312, "0.75", "0.375")),
            5 if place > 1 && !joined_late => {
                let wanted = if plants::is_over_at_the_last(place) { "0.9" } else { "0.55" };
                Some(load(feed, 3, 229, wanted, if wanted == "0.9" { "0.9" } else { "0.275" }))
            }
            _ => None,
        }
    }

    /// All stops of a round, planned by the office.
    pub async fn plan(&self, office: &Caller, round: Round) -> Result<Vec<Stop>, String> {
        let stops = (0..self.places.len()).filter_map(|place| self.stop(round, place));
        together(stops.map(|stop| async {
            let mut stop = stop?;
            stop.visit_id = office.made("/api/v1/visits", &stop.visit).await?;
            if stop.plant == Some(Plant::SoilReportTooOld) {
                self.closed(office, &stop, "cancelled", Some("The soil report is more than three years old.")).await?;
            }
            Ok(stop)
        }))
        .await
    }

    fn stop(&self, round: Round, at: usize) -> Option<Result<Stop, String>> {
        let (load, place) = (self.load(round.number, at)?, self.places.get(at)?);
        let technician = (at / 45).min(3);
        let turn = (at % 45 + 45 - round.first) % 45;
        let day = round.days.get(turn / round.stops)?;
        let sections: Vec<&String> = place.sections.iter().map(|(id, _)| id).collect();
        let person = &self.crew.get(technician)?.person;
        let mut visit = json!({
            "property_id": place.property, "person_id": person, "planned_on": day, "product_id": load.product, "section_ids": sections,
            "purpose": "maintenance",
        });
        visit[load.target.0] = json!(load.target.1);
        let minutes = i64::try_from(turn % round.stops).unwrap_or(0) * 42;
        let start = Instant::parse(&format!("{day}T12:00:00Z")).map(|at| at.plus(SignedDuration::from_mins(minutes)));
        let made = start.map_err(|error| error.to_string()).and_then(|start| {
            let day = Day::parse(day).map_err(|error| error.to_string())?;
            let (product_lot, rate) = (load.lot.to_owned(), load.rate);
            let plant = plants::plant(round.number, at);
            Ok(Stop { place: at, technician, day, start, plant, visit, visit_id: String::new(), product_lot, rate })
        });
        Some(made)
    }

    /// The record of a stop as its technician's phone sends it.
    pub fn record(&self, round: usize, stop: &Stop) -> Result<Value, String> {
        let place = self.places.get(stop.place).ok_or("no place")?;
        let technician = self.crew.get(stop.technician).ok_or("no technician")?;
        // The second spreader put down more and more before anybody weighed.
        let rate = if stop.technician == 1 && round == 4 { stop.rate * 112 / 100 } else { stop.rate };
        let part = matches!(stop.plant, Some(Plant::PartDone | Plant::PartDoneOpen));
        let treated = place.sections.iter().take(if part { 1 } else { place.sections.len() });
        let lines: Vec<Value> = treated
            .map(|(id, area)| json!({ "section_id": id, "product_lb": Rate(rate).product_for(*area) }))
            .collect();
        let finished = stop.start.plus(SignedDuration::from_mins(24));
        let mut record = json!({
            "property_id": place.property, "product_id": stop.visit["product_id"], "visit_id": stop.visit_id, "lot_id": stop.product_lot,
            "started_at": stop.start, "finished_at": finished, "purpose": "maintenance",
            "equipment": "rotary_spreader_with_deflector", "equipment_id": technician.spreader, "ground": "moist",
            "pavement_cleaned": true, "weather": whole_weather(stop), "lines": lines,
            "seen": {
                "amount_measured_by": "weighed", "machine_setting": "14", "wind_from": "northwest", "sky": "partly_cloudy",
                "no_label_instruction": true, "notices": [{ "kind": "sign", "at": finished, "to": "public" }],
            },
        });
        if let Some(note) = stop.plant.and_then(Plant::note) {
            record["notes"] = json!(note);
        }
        if stop.plant == Some(Plant::WrongLot) {
            record["lot_id"] = json!(self.store.lots[5]);
        }
        if stop.plant == Some(Plant::BeyondTheRules) || stop.plant == Some(Plant::Refused) {
            record["ground"] = json!("saturated");
            record["weather"]["air_temperature"]["air_temperature_f"] = json!("91");
        }
        Ok(record)
    }

    /// Closes a visit, as the office does once the record has come in.
    pub async fn closed(&self, office: &Caller, stop: &Stop, status: &str, why: Option<&str>) -> Result<(), String> {
        let mut visit = stop.visit.clone();
        visit["status"] = json!(status);
        if let Some(why) = why {
            visit["reason"] = json!(why);
        }
        office.change(&format!("/api/v1/visits/{}", stop.visit_id), &visit).await.map(drop)
    }

    /// Records of stops before a moment, as they come in; the number of records.
    pub async fn done(&self, round: usize, stops: &[Stop], at: &super::Days<'_>) -> Result<usize, String> {
        let mut arriving: BTreeMap<Day, Vec<&Stop>> = BTreeMap::new();
        for stop in stops.iter().filter(|stop| stop.start < at.end && stop.plant != Some(Plant::SoilReportTooOld)) {
            let late = if let Some(Plant::Late(days)) = stop.plant { i32::from(days) } else { 0 };
            arriving.entry(stop.day.plus_days(late)).or_default().push(stop);
        }
        let mut records = 0;
        for (day, stops) in arriving {
            let office = at.evening(day).await?;
            records +=
                together(stops.into_iter().map(|stop| self.sent(&office, round, stop))).await?.iter().sum::<usize>();
        }
        Ok(records)
    }

    /// Sends one record, and what was planted with it; the number of records that it became.
    async fn sent(&self, office: &Caller, round: usize, stop: &Stop) -> Result<usize, String> {
        let technician = self.crew.get(stop.technician).ok_or("no technician")?;
        let phone = &technician.phone;
        let mut record = self.record(round, stop)?;
        let id = phone_id(stop.start);
        let path = format!("/api/v1/applications/{id}");
        match stop.plant {
            Some(Plant::Refused) => {
                return expect(phone.put(&path, &record).await?, 422, "a record that is refused").map(|_| 0);
            }
            Some(Plant::BeyondTheRules) => {
                let why = "The client had watered; seen only when the work was done.";
                super::planted::insisted(phone, &path, &mut record, why).await?;
            }
            _ => drop(expect(phone.put(&path, &record).await?, 201, "a record of a round")?),
        }
        let mut records = 1;
        match stop.plant {
            Some(Plant::PartDoneOpen) => return Ok(1),
            Some(Plant::PartDone) => {
                self.split(office, stop).await?;
                return Ok(1);
            }
            Some(plant) => records += super::planted::after(self, office, stop, plant, &id, record).await?,
            None => {}
        }
        self.closed(office, stop, "done", None).await?;
        Ok(records)
    }

    /// What was treated is done; the rest becomes a visit of its own, which is closed with its reason.
    async fn split(&self, office: &Caller, stop: &Stop) -> Result<(), String> {
        let sections = stop.visit["section_ids"].as_array().cloned().unwrap_or_default();
        let (treated, rest) = sections.split_at(sections.len().min(1));
        let with = |sections: &[Value]| {
            let mut visit = stop.visit.clone();
            visit["section_ids"] = json!(sections);
            Stop { visit, visit_id: stop.visit_id.clone(), product_lot: String::new(), ..*stop }
        };
        self.closed(office, &with(treated), "done", None).await?;
        let mut rest = with(rest);
        rest.visit_id = office.made("/api/v1/visits", &rest.visit).await?;
        let why = "Furniture of a party stood on it; the client asked to leave it out this time.";
        self.closed(office, &rest, "not_done", Some(why)).await
    }
}

/// A morning that suits, with everything told that a law asks for.
fn whole_weather(stop: &Stop) -> Value {
    let mut weather = fair_weather(stop.start);
    let degrees = 61 + stop.place % 17;
    weather["air_temperature"]["air_temperature_f"] = json!(format!("{degrees}.5"));
    weather["wind"] = json!({ "wind_mph": (3 + stop.place % 6).to_string(), "gust_mph": "9", "source": "technician", "observed_at": stop.start });
    weather["heavy_rain"] = json!({ "falls": false, "source": "technician", "observed_at": stop.start });
    weather
}
