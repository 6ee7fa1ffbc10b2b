//! What must be true, worked out anew in exact fractions. Nothing of the server's own arithmetic is used here.

use std::collections::BTreeMap;

use jiff::civil::Date;
use num_bigint::BigInt;
use num_rational::BigRational;

/// A fraction from a decimal text.
pub fn exact(text: &str) -> BigRational {
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let digits: BigInt = format!("{whole}{part}").parse().unwrap();
    BigRational::new(digits, BigInt::from(10).pow(u32::try_from(part.len()).unwrap()))
}

/// A fraction in millionths, rounded up.
pub fn rounded_up(value: &BigRational) -> BigInt {
    (value * exact("1000000")).ceil().to_integer()
}

/// A fraction in millionths, rounded down.
pub fn rounded_down(value: &BigRational) -> BigInt {
    (value * exact("1000000")).floor().to_integer()
}

/// The invented law's yearly limits in pounds of nitrogen on 1,000 sq ft, by turf.
pub const LIMITS: [(&str, &str); 3] = [("tall_fescue", "2.7"), ("zoysia", "1.8"), ("kentucky_bluegrass", "3.1")];

/// Nitrogen, quick-release nitrogen, phosphate and potash of the products, as shares.
pub const GRADES: [[&str; 4]; 2] = [["0.24", "0.168", "0", "0.1"], ["0.1137", "0.1137", "0.0703", "0.31"]];

/// Pounds of each product that were delivered.
pub const DELIVERED: &str = "2000";

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    pub section: usize,
    pub area: BigRational,
    pub pounds: BigRational,
}

#[derive(Debug, Clone)]
pub struct Record {
    pub id: String,
    pub product: usize,
    pub on: Date,
    pub lines: Vec<Line>,
    pub last_correction: Option<String>,
    pub beyond: bool,
}

/// Room that is held today.
#[derive(Debug, Clone)]
pub struct Hold {
    pub id: String,
    pub product: usize,
    pub line: Line,
}

/// What is so from a day on; the last that was entered of a day holds. What corrects an entry of the same day stands where that stood.
#[derive(Debug, Clone)]
pub struct Since<T> {
    pub id: String,
    pub day: Option<Date>,
    pub value: T,
}

/// Which of the entries holds on a day.
pub fn on_day<T: Copy>(entries: &[Since<T>], day: Date) -> T {
    let begun = entries.iter().enumerate().filter(|(_, entry)| entry.day <= Some(day));
    begun.max_by_key(|(at, entry)| (entry.day, *at)).unwrap().1.value
}

/// Enters something, in the place of an earlier entry if one is named: in its very place where the day is the same, else as the last.
pub fn enter<T>(entries: &mut Vec<Since<T>>, corrects: Option<usize>, entry: Since<T>) {
    match corrects {
        Some(at) if entries[at].day == entry.day => entries[at] = entry,
        Some(at) => {
            let _ = entries.remove(at);
            entries.push(entry);
        }
        None => entries.push(entry),
    }
}

#[derive(Debug, Clone)]
pub struct Section {
    pub turf: Vec<Since<usize>>,
    /// Areas, in the order of entry.
    pub measurements: Vec<Since<BigRational>>,
}

impl Section {
    /// The area by the latest measurement up to a day, the earliest one before any.
    pub fn area_on(&self, day: Date) -> BigRational {
        let entries = self.measurements.iter().enumerate();
        let latest = entries.clone().filter(|(_, one)| one.day <= Some(day)).max_by_key(|(at, one)| (one.day, *at));
        let earliest = entries.min_by_key(|(at, one)| (one.day, *at));
        latest.or(earliest).unwrap().1.value.clone()
    }

    pub fn limit_on(&self, day: Date) -> BigRational {
        exact(LIMITS[on_day(&self.turf, day)].1)
    }
}

#[derive(Debug, Clone)]
pub struct Model {
    pub today: Date,
    pub sections: Vec<Section>,
    /// Whose the property was.
    pub owners: Vec<Since<usize>>,
    pub records: Vec<Record>,
    pub holds: Vec<Hold>,
}

/// What a section got in a span: pounds of product, of the four nutrients, and the four on 1,000 sq ft.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sums {
    pub product: BigRational,
    pub nutrients: [BigRational; 4],
    pub rates: [BigRational; 4],
}

impl Model {
    /// Lines that stand on a section, with their record.
    pub fn standing(&self, section: usize) -> impl Iterator<Item = (&Record, &Line)> {
        let of = move |record: &'_ Record| record.lines.iter().position(|line| line.section == section);
        self.records.iter().filter_map(move |record| of(record).map(|at| (record, &record.lines[at])))
    }

    pub fn sums(&self, section: usize, counts: impl Fn(&Record) -> bool) -> Sums {
        let zero = || exact("0");
        let mut sums = Sums {
            product: zero(),
            nutrients: [zero(), zero(), zero(), zero()],
            rates: [zero(), zero(), zero(), zero()],
        };
        for (record, line) in self.standing(section).filter(|(record, _)| counts(record)) {
            sums.product += &line.pounds;
            for (at, share) in GRADES[record.product].iter().enumerate() {
                let load = exact(share) * &line.pounds;
                sums.rates[at] += &load / &line.area * exact("1000");
                sums.nutrients[at] += load;
            }
        }
        sums
    }

    /// Nitrogen on 1,000 sq ft by day, without one record: what counts against a limit, held room included.
    fn by_day(&self, section: usize, without: Option<&str>) -> BTreeMap<Date, BigRational> {
        let mut days: BTreeMap<Date, BigRational> = BTreeMap::new();
        let mut add = |on, product: usize, line: &Line| {
            let rate = nitrogen_rate(product, line);
            *days.entry(on).or_insert_with(|| exact("0")) += rate;
        };
        for (record, line) in self.standing(section).filter(|(record, _)| Some(record.id.as_str()) != without) {
            add(record.on, record.product, line);
        }
        for hold in self.holds.iter().filter(|hold| hold.line.section == section) {
            add(self.today, hold.product, &hold.line);
        }
        days
    }

    /// The most that any year which holds the day has got: the calendar year, and each span of 365 days.
    pub fn fullest_year(&self, section: usize, day: Date, without: Option<&str>) -> BigRational {
        let days = self.by_day(section, without);
        let within = |first: Date, last: Date| days.range(first..=last).map(|(_, rate)| rate).sum::<BigRational>();
        let calendar = within(day.first_of_year(), day.last_of_year());
        // A span moved on to its next entry holds no less, so those that end on the day or on a later entry are enough.
        let furthest = day.checked_add(jiff::Span::new().days(364)).unwrap();
        let ends = std::iter::once(day).chain(days.range(day..=furthest).map(|(on, _)| *on));
        let spans = ends.map(|last| within(last.checked_sub(jiff::Span::new().days(364)).unwrap(), last));
        spans.fold(calendar, |most, span| if span > most { span } else { most })
    }

    /// What is left under the limit of a day's turf; below zero past it.
    pub fn room(&self, section: usize, day: Date, without: Option<&str>) -> BigRational {
        self.sections[section].limit_on(day) - self.fullest_year(section, day, without)
    }

    /// Whether lines of a product on a day pass a limit.
    pub fn stops(&self, product: usize, day: Date, lines: &[Line], without: Option<&str>) -> bool {
        lines.iter().any(|line| nitrogen_rate(product, line) > self.room(line.section, day, without))
    }

    /// Pounds of a product in stock by the book.
    pub fn balance(&self, product: usize) -> BigRational {
        let used = self.records.iter().filter(|record| record.product == product);
        exact(DELIVERED) - used.flat_map(|record| &record.lines).map(|line| &line.pounds).sum::<BigRational>()
    }
}

pub fn nitrogen_rate(product: usize, line: &Line) -> BigRational {
    exact(GRADES[product][0]) * &line.pounds / &line.area * exact("1000")
}
