//! Holds every figure that the server shows against the model.

use jiff::{
    Span,
    civil::{Date, date},
};
use num_bigint::BigInt;
use num_rational::BigRational;
use serde_json::{Value, json};
use server::book::verify::check_file;

use super::{
    model::{GRADES, Record, Sums, exact, on_day, rounded_down, rounded_up},
    play::Play,
};

fn shown(value: &Value) -> BigRational {
    exact(value.as_str().unwrap_or_else(|| panic!("{value} is no figure")))
}

fn millionths(value: &Value) -> BigInt {
    (shown(value) * exact("1000000")).to_integer()
}

const NUTRIENTS: [&str; 4] = ["nitrogen_lb", "quick_nitrogen_lb", "phosphate_lb", "potash_lb"];
const RATES: [&str; 4] = [
    "nitrogen_lb_per_1000_sqft",
    "quick_nitrogen_lb_per_1000_sqft",
    "phosphate_lb_per_1000_sqft",
    "potash_lb_per_1000_sqft",
];

impl Play {
    /// Everything that the step may have moved. Of the clients one a step is asked about, in turn.
    pub async fn compare(&self, step: usize) {
        let year = self.model.today.year();
        for year in [year, year - 1] {
            self.land_year(year).await;
        }
        let client = step % self.of.clients.len();
        self.client_year(client, year - i16::try_from(step % 2).unwrap()).await;
        let products = self.office.get("/api/v1/products").await.expect(200).body;
        for (product, id) in self.of.products.iter().enumerate() {
            let stored = products["items"].as_array().unwrap().iter().find(|stored| stored["id"] == **id).unwrap();
            assert_eq!(shown(&stored["balance_lb"]), self.model.balance(product), "stock of product {product}");
        }
        self.room().await;
        let found = check_file(&self.app.file()).await.unwrap();
        assert!(found.faults.is_empty(), "verify: {:?}", found.faults);
    }

    async fn land_year(&self, year: i16) {
        let address = format!("/api/v1/statements?year={year}&property_id={}", self.of.property);
        let statement = self.owner.get(&address).await.expect(200).body;
        for (section, id) in self.of.sections.iter().enumerate() {
            let told = statement["sections"].as_array().unwrap().iter().find(|told| told["section_id"] == **id);
            self.section_year(told.unwrap(), section, year);
        }
        assert!(!statement["gaps"].to_string().contains("verify"), "{year}: {}", statement["gaps"]);
    }

    fn section_year(&self, told: &Value, section: usize, year: i16) {
        let (first, last) = (date(year, 1, 1), date(year, 12, 31));
        let within = |record: &Record| (first..=last).contains(&record.on);
        let sums = self.model.sums(section, within);
        let place = format!("section {section} in {year}");
        same_sums(told, &sums, &place);
        let limit = self.model.sections[section].limit_on(last.min(self.model.today));
        assert_eq!(shown(&told["cap"]["limit_lb_per_1000_sqft"]), limit, "{place}");
        let left = rounded_down(&(&limit - &sums.rates[0]));
        assert_eq!(millionths(&told["remaining_nitrogen_lb_per_1000_sqft"]), left, "{place}: what remains");
        let mut lines: Vec<(String, BigRational, BigRational)> = self
            .model
            .standing(section)
            .filter(|(record, _)| within(record))
            .map(|(record, line)| (record.id.clone(), line.area.clone(), line.pounds.clone()))
            .collect();
        lines.sort();
        let of = |line: &Value| {
            let id = line["application_id"].as_str().unwrap().to_owned();
            (id, shown(&line["area_sqft"]), shown(&line["product_lb"]))
        };
        let mut known: Vec<_> = told["lines"].as_array().unwrap().iter().map(of).collect();
        known.sort();
        assert_eq!(known, lines, "{place}: lines");
    }

    /// The year of the land stands on the statement of everybody whose it was on a day of it.
    async fn client_year(&self, client: usize, year: i16) {
        let address = format!("/api/v1/statements?year={year}&client_id={}", self.of.clients[client]);
        let reply = self.owner.get(&address).await;
        let days = date(year, 1, 1).series(Span::new().days(1)).take_while(|day| day.year() == year);
        let owned = { days }.any(|day| on_day(&self.model.owners, day) == client);
        let counts = |record: &Record| owned && record.on.year() == year;
        let sums: Vec<Sums> = (0..self.model.sections.len()).map(|section| self.model.sums(section, counts)).collect();
        if reply.status == 404 {
            assert!(!owned, "client {client} in {year} is not found");
            return;
        }
        let statement = reply.expect(200).body;
        // Whoever was told as its owner and is no more is told that, and nothing else of the land.
        let taken_off = || statement["gaps"].to_string().contains(", client: ") && statement["sections"] == json!([]);
        assert!(owned || taken_off(), "client {client} in {year}: {}", statement["gaps"]);
        for (at, name) in NUTRIENTS.iter().enumerate() {
            let sum: BigRational = sums.iter().map(|sum| &sum.nutrients[at]).sum();
            assert_eq!(shown(&statement["total"][name]), sum, "client {client} in {year}: {name}");
        }
    }

    /// The room that a check shows, before and after a small load.
    async fn room(&self) {
        let lines = self.of.sections.iter().map(|id| json!({ "section_id": id, "product_lb": "0.000001" }));
        let reply = self.phone.post("/api/v1/checks", &self.plan(0, &lines.collect::<Vec<_>>())).await.expect(200).body;
        let today: Date = self.model.today;
        for (section, id) in self.of.sections.iter().enumerate() {
            let told = reply["decision"]["sections"].as_array().unwrap();
            let told = told.iter().find(|told| told["section_id"] == **id).unwrap();
            let room = self.model.room(section, today, None);
            let before = &told["nitrogen_room_before_lb_per_1000_sqft"];
            assert_eq!(millionths(before), rounded_down(&room), "room of section {section}");
            let area = self.model.sections[section].area_on(today);
            let most = rounded_down(&(room / exact("1000") * area / exact(GRADES[0][0]))).max(BigInt::ZERO);
            assert_eq!(millionths(&told["largest_lawful_product_lb"]), most, "largest load on section {section}");
        }
    }
}

fn same_sums(told: &Value, sums: &Sums, place: &str) {
    assert_eq!(shown(&told["product_lb"]), sums.product, "{place}: product");
    for (at, name) in NUTRIENTS.iter().enumerate() {
        assert_eq!(shown(&told["applied"][name]), sums.nutrients[at], "{place}: {name}");
        assert_eq!(millionths(&told[RATES[at]]), rounded_up(&sums.rates[at]), "{place}: {}", RATES[at]);
    }
}
