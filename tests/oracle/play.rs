//! Plays a history on a server and on the model, and compares the two after each step.

use harness::{Reply, TestApp, User, new_id, world::fair_weather};
use jiff::civil::Date;
use num_bigint::BigInt;
use num_rational::BigRational;
use serde_json::{Value, json};

use super::{
    histories::{Amount, Pounds, Step, before},
    model::{GRADES, Hold, LIMITS, Line, Model, Record, Since, enter, exact, rounded_down, rounded_up},
};

/// Who and what is there when a history begins.
#[derive(Debug, Clone)]
pub struct Beginning {
    pub owner: String,
    pub office: String,
    pub phone: String,
    pub clients: Vec<String>,
    pub property: String,
    pub sections: Vec<String>,
    pub products: Vec<String>,
    pub model: Model,
}

pub struct Play {
    pub app: TestApp,
    pub(super) owner: User,
    pub(super) office: User,
    pub(super) phone: User,
    pub(super) of: Beginning,
    pub model: Model,
}

/// Millionths as a decimal text.
fn decimal(millionths: &BigInt) -> String {
    let digits = format!("{millionths:07}");
    let (whole, part) = digits.split_at(digits.len() - 6);
    format!("{whole}.{part}").trim_end_matches('0').trim_end_matches('.').to_owned()
}

impl Play {
    pub fn new(app: TestApp, of: &Beginning) -> Self {
        let (owner, office) = (app.user(&of.owner, None), app.user(&of.office, None));
        let phone = app.user(&of.phone, None);
        Self { owner, office, phone, of: of.clone(), model: of.model.clone(), app }
    }

    pub async fn step(&mut self, step: &Step) {
        let today = self.model.today;
        match step {
            Step::Record { days_ago, product, first, second } => {
                let amounts: Vec<&Amount> = std::iter::once(first).chain(second).collect();
                self.record(before(today, *days_ago), usize::from(*product % 2), &amounts).await;
            }
            Step::Correct { record, section, amount } => {
                let Some(at) = self.chosen(*record) else { return };
                let section = usize::from(*section % 2);
                if let Some((line, named)) = self.corrected_line(at, section, amount) {
                    self.correct(at, Some((line, named))).await;
                }
            }
            Step::TakeLineBack { record, section } => {
                let Some(at) = self.chosen(*record) else { return };
                if self.model.records[at].lines.len() == 2 {
                    self.take_line_back(at, usize::from(*section % 2)).await;
                }
            }
            Step::TakeBack { record } => {
                if let Some(at) = self.chosen(*record) {
                    self.correct(at, None).await;
                }
            }
            Step::Measure { .. }
            | Step::MeasureCorrected { .. }
            | Step::MeasuredElsewhere { .. }
            | Step::Today { .. } => {
                self.step_of_a_lawn(step).await;
            }
            Step::Turf { section, days_ago, species } => {
                let (section, species) = (usize::from(*section % 2), usize::from(*species % 3));
                self.turf(section, Some(before(today, *days_ago)), species, None).await;
            }
            Step::TurfCorrected { section, entry, days_ago, species } => {
                let (section, species) = (usize::from(*section % 2), usize::from(*species % 3));
                let entry = 1 + usize::from(*entry);
                let entries = self.model.sections[section].turf.len();
                if entries > 1 {
                    let entry = 1 + entry % (entries - 1);
                    let same = self.model.sections[section].turf[entry].day;
                    let day = days_ago.map_or(same, |days_ago| Some(before(today, days_ago)));
                    self.turf(section, day, species, Some(entry)).await;
                }
            }
            Step::Sold { days_ago, client } => {
                self.sold(Some(before(today, *days_ago)), usize::from(*client % 3), None).await;
            }
            Step::SaleCorrected { entry, days_ago, client } => {
                let entries = self.model.owners.len();
                if entries > 1 {
                    let entry = 1 + usize::from(*entry) % (entries - 1);
                    let same = self.model.owners[entry].day;
                    let day = days_ago.map_or(same, |days_ago| Some(before(today, days_ago)));
                    self.sold(day, usize::from(*client % 3), Some(entry)).await;
                }
            }
            Step::Hold { product, section, amount } => {
                self.hold(usize::from(*product % 2), usize::from(*section % 2), amount).await;
            }
            Step::GiveBack { hold } => {
                if !self.model.holds.is_empty() {
                    let hold = self.model.holds.remove(usize::from(*hold) % self.model.holds.len());
                    let _ = self.phone.delete(&format!("/api/v1/clearances/{}", hold.id)).await.expect(200);
                }
            }
        }
    }

    async fn step_of_a_lawn(&mut self, step: &Step) {
        let today = self.model.today;
        match step {
            Step::Measure { section, days_ago, hundredths } => {
                self.measure(usize::from(*section % 2), Some(before(today, *days_ago)), *hundredths, None).await;
            }
            Step::MeasureCorrected { section, entry, days_ago, hundredths } => {
                let section = usize::from(*section % 2);
                let entry = usize::from(*entry) % self.model.sections[section].measurements.len();
                let day = days_ago.map(|days_ago| before(today, days_ago));
                self.measure(section, day, *hundredths, Some(entry)).await;
            }
            Step::MeasuredElsewhere { section, entry } => {
                self.measured_elsewhere(usize::from(*section % 2), usize::from(*entry)).await;
            }
            Step::Today { section, what, value } => {
                let years_before = self.past_years().await;
                self.today(usize::from(*section % 2), *what, *value).await;
                assert_eq!(self.past_years().await, years_before, "what is so from today on");
            }
            _ => unreachable!("it is about no lawn alone"),
        }
    }

    fn chosen(&self, record: u8) -> Option<usize> {
        (!self.model.records.is_empty()).then(|| usize::from(record) % self.model.records.len())
    }

    /// A line as the amount wants it, and whether it names its area.
    fn line(&self, day: Date, product: usize, section: usize, amount: &Amount, without: Option<&str>) -> Option<Line> {
        let whole = self.model.sections[section].area_on(day);
        self.line_on(&whole, day, product, section, amount, without)
    }

    fn line_on(
        &self,
        whole: &BigRational,
        day: Date,
        product: usize,
        section: usize,
        amount: &Amount,
        without: Option<&str>,
    ) -> Option<Line> {
        let area = match amount.part {
            // Areas are counted in hundredths of a square foot.
            Some(part) => {
                let hundredths = whole * exact(&part.to_string());
                BigRational::new(hundredths.floor().to_integer(), BigInt::from(100))
            }
            None => whole.clone(),
        };
        let pounds = match amount.pounds {
            Pounds::Some(hundred_thousandths) => {
                BigRational::new(BigInt::from(hundred_thousandths), BigInt::from(100_000))
            }
            Pounds::AllThatIsLeft(more) => {
                let share = exact(GRADES[product][0]);
                let room = self.model.room(section, day, without);
                let all = rounded_down(&(room / exact("1000") * &area / share)) + BigInt::from(more);
                BigRational::new(all, BigInt::from(1_000_000))
            }
        };
        let (nothing, most) = (exact("0"), exact("500"));
        (pounds > nothing && pounds < most).then_some(Line { section, area, pounds })
    }

    fn line_json(&self, line: &Line, names_area: bool) -> Value {
        let mut json = json!({
            "section_id": self.of.sections[line.section], "product_lb": decimal(&rounded_up(&line.pounds)),
        });
        if names_area {
            json["treated_area_sqft"] = json!(decimal(&rounded_up(&line.area)));
        }
        json
    }

    async fn record(&mut self, day: Date, product: usize, amounts: &[&Amount]) {
        let lines = amounts.iter().enumerate();
        let lines: Vec<(Line, bool)> = lines
            .filter_map(|(at, amount)| Some((self.line(day, product, at, amount, None)?, amount.part.is_some())))
            .collect();
        if lines.is_empty() {
            return;
        }
        let id = new_id();
        let mut body = json!({
            "property_id": self.of.property, "product_id": self.of.products[product],
            "started_at": format!("{day}T15:05:00Z"), "finished_at": format!("{day}T15:31:00Z"), "purpose": "maintenance",
            "equipment": "rotary_spreader_with_deflector", "ground": "moist", "pavement_cleaned": true, "weather": weather(),
            "lines": lines.iter().map(|(line, named)| self.line_json(line, *named)).collect::<Vec<_>>(),
        });
        let lines: Vec<Line> = lines.into_iter().map(|(line, _)| line).collect();
        let stops = self.model.stops(product, day, &lines, None);
        let address = format!("/api/v1/applications/{id}");
        let stored = self.stored(&address, &mut body, stops).await;
        assert_eq!(stored["beyond_the_rules"], stops);
        assert_eq!(stored["applied_on"], day.to_string());
        self.model.records.push(Record { id, product, on: day, lines, last_correction: None, beyond: stops });
    }

    /// Stored at once, or refused because of the yearly limit and stored when that was acknowledged.
    async fn stored(&self, address: &str, body: &mut Value, stops: bool) -> Value {
        let reply = self.office.put(address, body).await;
        if !stops {
            return reply.expect(201).body;
        }
        let refused: Reply = reply.problem(422, "stopped-by-rules");
        assert!(refused.rules().iter().all(|rule| rule == "us-zz.year"), "{}", refused.text);
        let keys = refused.body["findings"].as_array().unwrap().iter().map(|finding| finding["key"].clone());
        body["acknowledged"] = keys.collect();
        if body.get("reason").is_none() {
            body["reason"] = json!("It was put down.");
        }
        self.office.put(address, body).await.expect(201).body
    }

    /// The line that a correction puts on a section, and whether it names its area: without one, what stands there stays.
    fn corrected_line(&self, at: usize, section: usize, amount: &Amount) -> Option<(Line, bool)> {
        let record = &self.model.records[at];
        let stands = record.lines.iter().find(|line| line.section == section).map(|line| line.area.clone());
        let whole = stands.unwrap_or_else(|| self.model.sections[section].area_on(record.on));
        let line = self.line_on(&whole, record.on, record.product, section, amount, Some(&record.id))?;
        Some((line, amount.part.is_some()))
    }

    async fn correct(&mut self, at: usize, change: Option<(Line, bool)>) {
        let record = self.model.records[at].clone();
        let Some((line, named)) = change else {
            return self.send(&record, at, Vec::new(), Value::Null).await;
        };
        let mut lines = record.lines.clone();
        lines.retain(|known| known.section != line.section);
        let change = json!({ "lines": [self.line_json(&line, named)] });
        lines.push(line);
        self.send(&record, at, lines, change).await;
    }

    async fn take_line_back(&mut self, at: usize, section: usize) {
        let record = self.model.records[at].clone();
        let mut lines = record.lines.clone();
        lines.retain(|known| known.section != section);
        self.send(&record, at, lines, json!({ "taken_back": [self.of.sections[section]] })).await;
    }

    async fn send(&mut self, record: &Record, at: usize, lines: Vec<Line>, change: Value) {
        let id = new_id();
        let mut body = json!({ "application_id": record.id, "reason": "Weighed again." });
        if !change.is_null() {
            body["change"] = change;
        }
        if let Some(last) = &record.last_correction {
            body["replaces"] = json!(last);
        }
        let address = format!("/api/v1/corrections/{id}");
        let same = |line: &Line| lines.contains(line);
        if record.lines.len() == lines.len() && record.lines.iter().all(same) {
            let _ = self.office.put(&address, &body).await.problem(422, "invalid");
            return;
        }
        let stops = self.model.stops(record.product, record.on, &lines, Some(&record.id));
        let stored = self.stored(&address, &mut body, stops).await;
        assert_eq!(stored["beyond_the_rules"], stops);
        let known = &mut self.model.records[at];
        (known.lines, known.last_correction, known.beyond) = (lines, Some(id), stops);
    }

    /// Measures a section, in the place of an earlier measurement if one is named, and then of its day if none is.
    async fn measure(&mut self, section: usize, day: Option<Date>, hundredths: u32, corrects: Option<usize>) {
        let area = BigRational::new(BigInt::from(hundredths), BigInt::from(100));
        let known = &self.model.sections[section].measurements;
        let day = day.or_else(|| known[corrects?].day);
        let mut body = measured(&area, day);
        if let Some(at) = corrects {
            (body["corrects"], body["reason"]) = (json!(known[at].id), json!("A slip."));
        }
        let address = format!("/api/v1/sections/{}/measurements", self.of.sections[section]);
        let id = self.office.post(&address, &body).await.expect(201).id();
        enter(&mut self.model.sections[section].measurements, corrects, Since { id, day, value: area });
    }

    /// Says of a measurement that it is another lawn's. One must be left.
    async fn measured_elsewhere(&mut self, section: usize, entry: usize) {
        let known = &mut self.model.sections[section].measurements;
        if known.len() > 1 {
            let wrong = known.remove(entry % known.len());
            let mut body = measured(&wrong.value, wrong.day);
            (body["corrects"], body["reason"]) = (json!(wrong.id), json!("Another lawn's."));
            body["not_of_this_lawn"] = json!(true);
            let address = format!("/api/v1/sections/{}/measurements", self.of.sections[section]);
            let _ = self.office.post(&address, &body).await.expect(201);
        }
    }

    /// Enters the turf from a day on, in the place of an earlier entry if one is named.
    async fn turf(&mut self, section: usize, day: Option<Date>, species: usize, corrects: Option<usize>) {
        let address = format!("/api/v1/sections/{}/history", self.of.sections[section]);
        let facts = json!({ "species": LIMITS[species].0 });
        let entries = &self.model.sections[section].turf;
        let id = self.enter(&address, day, &facts, corrects.map(|at| entries[at].id.clone())).await;
        enter(&mut self.model.sections[section].turf, corrects, Since { id, day, value: species });
    }

    async fn sold(&mut self, day: Option<Date>, client: usize, corrects: Option<usize>) {
        let address = format!("/api/v1/properties/{}/history", self.of.property);
        let facts = json!({ "client_id": self.of.clients[client] });
        let wrong = corrects.map(|at| self.model.owners[at].id.clone());
        let id = self.enter(&address, day, &facts, wrong).await;
        enter(&mut self.model.owners, corrects, Since { id, day, value: client });
    }

    async fn enter(&self, address: &str, day: Option<Date>, facts: &Value, corrects: Option<String>) -> String {
        let mut body = json!({ "facts": facts, "reason": "Learned late." });
        if let Some(day) = day {
            body["since"] = json!(day.to_string());
        }
        if let Some(wrong) = corrects {
            body["corrects"] = json!(wrong);
        }
        self.office.post(address, &body).await.expect(201).id()
    }

    async fn hold(&mut self, product: usize, section: usize, amount: &Amount) {
        let Some(line) = self.line(self.model.today, product, section, amount, None) else { return };
        let id = new_id();
        let plan = self.plan(product, &[self.line_json(&line, amount.part.is_some())]);
        let reply = self.phone.put(&format!("/api/v1/clearances/{id}"), &plan).await;
        if self.model.stops(product, self.model.today, std::slice::from_ref(&line), None) {
            let _ = reply.problem(422, "stopped-by-rules");
        } else {
            let _ = reply.expect(201);
            self.model.holds.push(Hold { id, product, line });
        }
    }

    pub fn plan(&self, product: usize, lines: &[Value]) -> Value {
        json!({
            "property_id": self.of.property, "product_id": self.of.products[product],
            "planned_on": self.model.today.to_string(), "purpose": "maintenance",
            "equipment": "rotary_spreader_with_deflector", "ground": "moist", "weather": weather(), "lines": lines,
        })
    }
}

fn measured(area: &BigRational, on: Option<Date>) -> Value {
    json!({
        "area_sqft": decimal(&rounded_up(area)), "measured_on": on.unwrap().to_string(), "method": "wheel",
        "measured_by": "Office 01",
    })
}

/// The weather of a fair day. A list of warnings would be of another day than most of the work, and ask for care.
fn weather() -> Value {
    let mut weather = fair_weather();
    let _ = weather.as_object_mut().unwrap().remove("alerts");
    weather
}
