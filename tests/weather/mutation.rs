//! The changes that mutants are made by: none of them says anything honest about the weather.

use serde_json::{Value, json};

use super::fake_weather::flood_watch;

/// The documents of a place, in the order in which they are asked for.
pub const POINT: usize = 0;
pub const GRID: usize = 1;
pub const STATIONS: usize = 2;
pub const OBSERVATION: usize = 3;
pub const LISTS: [usize; 3] = [4, 5, 6];

pub type Documents = [Value; 7];

/// Numbers that anybody can make again from the seed (`SplitMix64`, which is in the public domain).
#[derive(Debug)]
pub struct Dice(pub u64);

impl Dice {
    fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    pub fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.roll() % u64::try_from(end).unwrap()).unwrap()
    }
}

/// Where a value stands in a document.
type Steps = Vec<String>;

/// Every value of a document but the whole of it.
fn places(value: &Value, at: &[String], found: &mut Vec<Steps>) {
    let mut inside = |step: String, value: &Value| {
        let mut at = at.to_vec();
        at.push(step);
        found.push(at.clone());
        places(value, &at, found);
    };
    match value {
        Value::Object(members) => members.iter().for_each(|(name, value)| inside(name.clone(), value)),
        Value::Array(items) => items.iter().enumerate().for_each(|(at, value)| inside(at.to_string(), value)),
        _ => {}
    }
}

fn pointer(at: &[String]) -> String {
    let steps: Vec<String> = at.iter().map(|step| step.replace('~', "~0").replace('/', "~1")).collect();
    steps.iter().flat_map(|step| ["/", step]).collect()
}

/// Puts a member into an object, if it still is one.
fn set(document: &mut Value, object: &str, name: &str, value: Value) {
    if let Some(Value::Object(members)) = document.pointer_mut(object) {
        members.insert(name.to_owned(), value);
    }
}

/// What takes a value's place. None of it is a word that weather has. What JSON of this language cannot hold stands for itself until it
/// is written.
fn junk(dice: &mut Dice) -> Value {
    let all = [
        Value::Null,
        json!(true),
        json!({}),
        json!(-99_999),
        json!("x"),
        json!(""),
        json!("2026-13-40T99:00:00Z"),
        json!("P1Y"),
        json!("__HUGE__"),
        json!("__DEEP__"),
        json!("\u{202e}\u{0}\u{ffff}"),
        json!("9".repeat(5_000)),
        json!([[], [null], [[0]]]),
    ];
    all[dice.below(all.len())].clone()
}

pub fn written(document: &Value) -> String {
    let text = document.to_string().replace("\"__HUGE__\"", "1e999999999");
    if text.contains("__DEEP__") { text.replace("\"__DEEP__\"", &"[".repeat(3_000)) } else { text }
}

/// What was done, and whether it leaves the document unable to clear.
#[derive(Debug)]
pub struct Change {
    pub what: String,
    pub hides: bool,
}

/// Loses a value, or puts junk in its place.
fn spoil(documents: &mut Documents, of: usize, dice: &mut Dice) -> Change {
    let mut all = Vec::new();
    places(&documents[of], &[], &mut all);
    // An entry that is taken out whole, and an end that lies behind, are honest words.
    all.retain(|at| !(at.first().is_some_and(|first| first == "features") && at.len() == 2));
    // What was spoilt before may have nothing left to spoil.
    if all.is_empty() {
        return Change { what: "nothing".to_owned(), hides: false };
    }
    let at = all[dice.below(all.len())].clone();
    let lost = dice.below(2) == 0;
    let (name, parent) = at.split_last().unwrap();
    let bad = junk(dice);
    let home = documents[of].pointer_mut(&pointer(parent)).unwrap();
    match home {
        Value::Object(members) if lost => drop(members.remove(name)),
        Value::Object(members) => drop(members.insert(name.clone(), bad.clone())),
        Value::Array(items) => items[name.parse::<usize>().unwrap()] = bad.clone(),
        _ => unreachable!("a value stands in an object or an array"),
    }
    let needed = match of {
        GRID => !at.contains(&"probabilityOfPrecipitation".to_owned()) && at.len() > 1,
        4..=6 => at.len() == 1 && at[0] != "pagination",
        _ => false,
    };
    // A null layer is none, and a null value is no value; a list that is spoilt by "[...]" as a whole is still one.
    let what = format!("{} {}", if lost { "lost" } else { "spoilt" }, pointer(&at));
    Change {
        what: if lost { what } else { format!("{what}: {}", bad.to_string().chars().take(40).collect::<String>()) },
        hides: needed,
    }
}

/// Makes a document one of another place.
fn misplace(documents: &mut Documents, of: usize, dice: &mut Dice) -> Change {
    let others = ["LWX", "ABC"];
    let what = match of {
        POINT => {
            set(&mut documents[POINT], "/geometry", "coordinates", json!([-81.3789, 28.5384]));
            "another point".to_owned()
        }
        GRID => {
            let name = ["gridId", "gridX", "gridY"][dice.below(3)];
            let other = if name == "gridId" { json!(others[dice.below(2)]) } else { json!(dice.below(20)) };
            set(&mut documents[GRID], "/properties", name, other);
            format!("another {name}")
        }
        STATIONS => {
            for station in documents[STATIONS].get_mut("features").and_then(Value::as_array_mut).into_iter().flatten() {
                set(station, "/geometry", "coordinates", json!([-95, 39]));
            }
            "stations of elsewhere".to_owned()
        }
        OBSERVATION => {
            set(&mut documents[OBSERVATION], "/properties", "station", json!("https://api.weather.gov/stations/KZZZ"));
            "another station".to_owned()
        }
        list => {
            let titles = ["28.5384 N, 81.3789 W", "Orange (FLC097) FL", "Florida", ""];
            set(&mut documents[list], "", "title", json!(titles[dice.below(titles.len())]));
            "another list's title".to_owned()
        }
    };
    Change { what, hides: of == POINT || of == GRID || of >= LISTS[0] }
}

/// Makes a document one of another time.
fn age(documents: &mut Documents, of: usize, dice: &mut Dice) -> Change {
    let days = ["2026-09-26", "2026-10-01", "2026-10-03", "2026-10-07", "2027-01-01", "1995-01-01"];
    let day = days[dice.below(days.len())];
    let at = json!(format!("{day}T14:30:00+00:00"));
    match of {
        GRID => set(&mut documents[GRID], "/properties", "updateTime", at),
        OBSERVATION => set(&mut documents[OBSERVATION], "/properties", "timestamp", at),
        4..=6 => set(&mut documents[of], "", "updated", at),
        _ => return Change { what: "nothing".to_owned(), hides: false },
    }
    Change { what: format!("made on {day}"), hides: of == GRID || of >= LISTS[0] }
}

/// Says that there is more, in another order, twice, or in a unit that nobody knows.
fn rearrange(documents: &mut Documents, of: usize, dice: &mut Dice) -> Change {
    let document = &mut documents[of];
    match (of, dice.below(4)) {
        (4..=6, 0) => {
            set(document, "", "pagination", json!({ "next": "https://api.weather.gov/alerts/active?cursor=x" }));
            return Change { what: "a next page".to_owned(), hides: true };
        }
        (GRID, 1) => {
            let layers = ["temperature", "windSpeed", "windGust", "quantitativePrecipitation"];
            let units = ["wmoUnit:furlong", "", "wmoUnit:Pa", "degc"];
            let (layer, unit) = (layers[dice.below(layers.len())], units[dice.below(units.len())]);
            set(document, &format!("/properties/{layer}"), "uom", json!(unit));
            return Change { what: format!("{layer} in {unit}"), hides: true };
        }
        (GRID, _) => {
            let layers = ["temperature", "windSpeed", "windGust", "quantitativePrecipitation"];
            let layer = layers[dice.below(layers.len())];
            let values = document.pointer_mut(&format!("/properties/{layer}/values")).and_then(Value::as_array_mut);
            let Some(values) = values.filter(|values| !values.is_empty()) else {
                return Change { what: "nothing".to_owned(), hides: false };
            };
            values.push(values[0].clone());
            return Change { what: format!("{layer} twice"), hides: true };
        }
        _ => {}
    }
    let mut what = "nothing";
    if let Some(entries) =
        document.get_mut("features").and_then(Value::as_array_mut).filter(|entries| !entries.is_empty())
    {
        if dice.below(2) == 0 {
            entries.reverse();
            what = "in another order";
        } else {
            entries.extend_from_within(..);
            what = "twice";
        }
    }
    Change { what: what.to_owned(), hides: false }
}

/// Takes an alert's own words for what would make it go away, in a way that is none of the protocol's.
fn belittle(documents: &mut Documents, of: usize, dice: &mut Dice) -> Change {
    let nothing = || Change { what: "nothing".to_owned(), hides: false };
    let Some(entries) = documents[of]
        .get_mut("features")
        .and_then(Value::as_array_mut)
        .filter(|entries| of >= LISTS[0] && !entries.is_empty())
    else {
        return nothing();
    };
    let at = dice.below(entries.len());
    let Some(alert) = entries[at].pointer_mut("/properties").filter(|alert| alert.is_object()) else {
        return nothing();
    };
    let (name, value) = [
        ("status", json!("actual")),
        ("status", json!("TEST")),
        ("messageType", json!("cancel")),
        ("ends", json!("2020-01-01T00:00:00+00:00")),
        ("ends", json!("2026-10-06T13:20:00+00:00")),
        ("parameters", json!({ "VTEC": ["/O.CAN/", "", null] })),
        ("severity", json!("Minor")),
        ("sent", json!("2026-10-06T14:19:00+00:00")),
    ][dice.below(8)]
    .clone();
    alert[name] = value.clone();
    let id = alert.get("id").cloned();
    // And one of another hazard, which has ended, names it.
    let other = json!({
        "id": "urn:oid:other", "event": "Heat Advisory", "messageType": "Update", "sent": "2026-10-06T14:10:00+00:00",
        "ends": "2026-10-06T14:15:00+00:00", "references": [{ "identifier": id }],
    });
    if dice.below(2) == 0 {
        entries.push(flood_watch(&other));
    }
    Change { what: format!("{name} {value}"), hides: false }
}

/// Changes a document in one of these ways.
pub fn mutate(documents: &mut Documents, of: usize, dice: &mut Dice) -> Change {
    let change = [spoil, misplace, age, rearrange, belittle][dice.below(5)];
    change(documents, of, dice)
}
