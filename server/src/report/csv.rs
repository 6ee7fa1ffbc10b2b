//! The yearly statement as comma-separated values (RFC 4180): a row for each line, a row for each section's total, one for
//! each of its yearly caps and one for each gap, so that nobody can take the table for complete when it is not; and one for each line of
//! the receipt. The load sheet of a day likewise.

use csv::{Terminator, WriterBuilder};
use domain::statement::caps::{CapRooms, StricterYear};

use crate::book::{
    load_sheet::DayLoad,
    statement::{SectionStatement, Statement, StatementLine},
};

const COLUMNS: [&str; 34] = [
    "row",
    "client",
    "address",
    "section",
    "applied_on",
    "application_id",
    "correction_id",
    "product",
    "grade",
    "area_sqft",
    "product_lb",
    "nitrogen_lb",
    "quick_nitrogen_lb",
    "phosphate_lb",
    "potash_lb",
    "nitrogen_lb_per_1000_sqft",
    "quick_nitrogen_lb_per_1000_sqft",
    "phosphate_lb_per_1000_sqft",
    "potash_lb_per_1000_sqft",
    "nitrogen_cap_lb_per_1000_sqft",
    "cap_set_by",
    "remaining_nitrogen_lb_per_1000_sqft",
    "percent_of_cap",
    "applied_by",
    "beyond_the_rules",
    "note",
    "credential_numbers",
    "cap_nutrient",
    "cap_lb_per_1000_sqft",
    "calendar_year_remaining_lb_per_1000_sqft",
    "rolling_year_remaining_lb_per_1000_sqft",
    "rolling_year_from",
    "rolling_year_to",
    "stricter_year",
];

/// A row of the statement.
type Row = [String; COLUMNS.len()];

fn empty_row() -> Row {
    std::array::from_fn(|_| String::new())
}

/// The statement as text with CRLF line ends.
pub fn statement(statement: &Statement) -> Result<Vec<u8>, csv::Error> {
    let mut writer = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Vec::new());
    writer.write_record(COLUMNS)?;
    for section in &statement.sections {
        for line in &section.lines {
            writer.write_record(line_row(statement, section, line))?;
        }
        writer.write_record(total_row(statement, section))?;
        for rooms in &section.caps {
            writer.write_record(cap_row(statement, section, rooms))?;
        }
    }
    for gap in &statement.gaps {
        writer.write_record(note_row("gap", statement, &gap.0))?;
    }
    writer.write_record(note_row("caution", statement, statement.caution))?;
    for line in statement.receipt.whole.lines() {
        writer.write_record(receipt_row(line))?;
    }
    writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))
}

/// Text that a spreadsheet would take for a formula, a day or a number is marked as text. Numbers are written as numbers.
fn text(value: &str) -> String {
    let seen = value.trim_start();
    let formula = seen.starts_with(['=', '+', '-', '@', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}'])
        || value.starts_with(['\t', '\r']);
    if formula || reads_as_value(seen) { format!("'{value}") } else { value.to_owned() }
}

/// Whether all of a text is a day, a time or a number to a spreadsheet: the grade 10-10-10 becomes October 10, 2010, the lot 0042
/// loses its zeros, 3E5 becomes 300000. Digits, what stands between them, and the name of a month (MAR-1, 2 May) make one.
fn reads_as_value(value: &str) -> bool {
    const WORDS: [&str; 29] = [
        "january",
        "february",
        "march",
        "april",
        "may",
        "june",
        "july",
        "august",
        "september",
        "october",
        "november",
        "december",
        "jan",
        "feb",
        "mar",
        "apr",
        "jun",
        "jul",
        "aug",
        "sept",
        "sep",
        "oct",
        "nov",
        "dec",
        "am",
        "pm",
        "e",
        "a",
        "p",
    ];
    let words = value.split(|letter: char| !letter.is_ascii_alphabetic()).filter(|word| !word.is_empty());
    let known = words.map(str::to_ascii_lowercase).all(|word| WORDS.contains(&word.as_str()));
    let between = |letter: char| letter.is_ascii_alphanumeric() || " .,:/-$%()'".contains(letter);
    known && value.chars().all(between) && value.chars().any(|letter| letter.is_ascii_digit())
}

fn number<T: ToString>(value: Option<T>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

fn line_row(statement: &Statement, section: &SectionStatement, line: &StatementLine) -> Row {
    let mut row = empty_row();
    let cells = [
        "application".to_owned(),
        text(&statement.client_name),
        text(&section.address),
        text(&section.section_name),
        line.applied_on.to_string(),
        line.application_id.to_string(),
        number(line.correction_id),
        text(&line.product_name),
        text(&line.grade),
        line.area_sqft.to_string(),
        line.product_lb.to_string(),
        line.delivers.nitrogen_lb.to_string(),
        line.delivers.quick_nitrogen_lb.to_string(),
        line.delivers.phosphate_lb.to_string(),
        line.delivers.potash_lb.to_string(),
        line.nitrogen_lb_per_1000_sqft.to_string(),
    ];
    for (cell, value) in row.iter_mut().zip(cells) {
        *cell = value;
    }
    row[23] = text(&line.applied_by);
    row[24] = line.beyond_the_rules.to_string();
    row[25] = if line.late { "received after the day of application".to_owned() } else { String::new() };
    row[26] = text(&line.credential_numbers);
    row
}

fn total_row(statement: &Statement, section: &SectionStatement) -> Row {
    let cap = section.cap.as_ref();
    let mut row = empty_row();
    let cells = [
        "section total".to_owned(),
        text(&statement.client_name),
        text(&section.address),
        text(&section.section_name),
        String::new(),
        String::new(),
        String::new(),
        String::new(),
        String::new(),
        number(section.area_sqft),
        section.product_lb.to_string(),
        section.applied.nitrogen_lb.to_string(),
        section.applied.quick_nitrogen_lb.to_string(),
        section.applied.phosphate_lb.to_string(),
        section.applied.potash_lb.to_string(),
        section.nitrogen_lb_per_1000_sqft.to_string(),
        section.quick_nitrogen_lb_per_1000_sqft.to_string(),
        section.phosphate_lb_per_1000_sqft.to_string(),
        section.potash_lb_per_1000_sqft.to_string(),
        number(cap.map(|cap| cap.limit_lb_per_1000_sqft)),
        cap.map(|cap| text(&format!("{} ({})", cap.rule, cap.citation))).unwrap_or_default(),
        number(section.remaining_nitrogen_lb_per_1000_sqft),
        number(section.percent_of_cap),
    ];
    for (cell, value) in row.iter_mut().zip(cells) {
        *cell = value;
    }
    row
}

/// A yearly cap held against both years. What it limits stands in a column of its own.
fn cap_row(statement: &Statement, section: &SectionStatement, rooms: &CapRooms) -> Row {
    let mut row = empty_row();
    let cap = &rooms.cap;
    "cap".clone_into(&mut row[0]);
    (row[1], row[2]) = (text(&statement.client_name), text(&section.address));
    (row[3], row[20]) = (text(&section.section_name), text(&format!("{} ({})", cap.rule, cap.citation)));
    let only = cap.only_for.as_ref().map(|only| format!("For {only}. ")).unwrap_or_default();
    row[25] = text(format!("{only}{}", rooms.stricter_words).trim_end());
    (row[27], row[28]) = (cap.nutrient.label().to_owned(), cap.limit_lb_per_1000_sqft.to_string());
    let (calendar, rolling) = (&rooms.calendar_year, &rooms.rolling_year);
    row[29] = calendar.remaining_lb_per_1000_sqft.to_string();
    row[30] = rolling.remaining_lb_per_1000_sqft.to_string();
    (row[31], row[32]) = (rolling.from.to_string(), rolling.to.to_string());
    let stricter = match rooms.stricter {
        Some(StricterYear::CalendarYear) => "calendar year",
        Some(StricterYear::RollingYear) => "365 days",
        None => "both leave the same",
    };
    stricter.clone_into(&mut row[33]);
    row
}

fn note_row(kind: &str, statement: &Statement, note: &str) -> Row {
    let mut row = empty_row();
    kind.clone_into(&mut row[0]);
    row[1] = text(&statement.client_name);
    row[25] = text(note);
    row
}

/// A line of the receipt, as it is signed: none of them reads as a formula, a day or a number.
fn receipt_row(line: &str) -> Row {
    let mut row = empty_row();
    "receipt".clone_into(&mut row[0]);
    line.clone_into(&mut row[25]);
    row
}

const LOAD_COLUMNS: [&str; 15] = [
    "row",
    "day",
    "person",
    "client",
    "address",
    "section",
    "product",
    "area_sqft",
    "product_lb",
    "bags",
    "loaded_lb",
    "spray_gal",
    "water_gal",
    "fills",
    "note",
];

/// The load sheet as text with CRLF line ends: a row for each stop, for each product and for each gap.
pub fn load_sheet(sheet: &DayLoad) -> Result<Vec<u8>, csv::Error> {
    let mut writer = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Vec::new());
    writer.write_record(LOAD_COLUMNS)?;
    let row = |kind: &str| {
        let mut row: [String; 15] = Default::default();
        (row[0], row[1], row[2]) = (kind.to_owned(), sheet.day.to_string(), text(&sheet.person_name));
        row
    };
    for stop in &sheet.stops {
        let mut row = row("stop");
        (row[3], row[4], row[5]) = (text(&stop.client_name), text(&stop.address), text(&stop.section_name));
        (row[6], row[7], row[8]) = (text(&stop.product_name), stop.area_sqft.to_string(), stop.product_lb.to_string());
        (row[11], row[12]) = (number(stop.spray_gal), number(stop.water_gal));
        writer.write_record(row)?;
    }
    for product in &sheet.products {
        let mut row = row("load");
        (row[6], row[8]) = (text(&product.product_name), product.needed_lb.to_string());
        (row[9], row[10]) = (product.bags.to_string(), product.loaded_lb.to_string());
        (row[11], row[12], row[13]) = (number(product.spray_gal), number(product.water_gal), number(product.fills));
        writer.write_record(row)?;
    }
    let gaps = sheet.gaps.iter().map(|gap| ("gap", gap.as_str()));
    for (kind, note) in gaps.chain([("caution", sheet.caution)]) {
        let mut row = row(kind);
        row[14] = text(note);
        writer.write_record(row)?;
    }
    writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_spreadsheet_would_change_is_marked_as_text() {
        let changed = [
            "10-10-10", "26-0-3", "0042", "3E5", "1/2", "8:30", "MAR1", "2 May", "Sept-2", "1,000", "12 am", "=1+1",
            " =1+1", "-",
        ];
        for value in changed.into_iter().chain(["@home", "\u{ff1d}1", "\tx", "(12)"]) {
            assert_eq!(text(value), format!("'{value}"), "{value}");
        }
        let plain = [
            "Front lawn",
            "5 May Street",
            "1 Street A, Sampletown",
            "LOT-1",
            "10-10-10 slow",
            "Marsh 2",
            "",
            "Tech 01",
            "No. 3 back",
        ];
        for value in plain {
            assert_eq!(text(value), value, "{value}");
        }
    }
}
