//! The yearly statement as comma-separated values (RFC 4180): a row for each line, a row for each section's total and a row
//! for each gap, so that nobody can take the table for complete when it is not. The load sheet of a day likewise.

use csv::{Terminator, WriterBuilder};

use crate::book::{
    load_sheet::DayLoad,
    statement::{SectionStatement, Statement, StatementLine},
};

const COLUMNS: [&str; 27] = [
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
];

/// The statement as text with CRLF line ends.
pub fn statement(statement: &Statement) -> Result<Vec<u8>, csv::Error> {
    let mut writer = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Vec::new());
    writer.write_record(COLUMNS)?;
    for section in &statement.sections {
        for line in &section.lines {
            writer.write_record(line_row(statement, section, line))?;
        }
        writer.write_record(total_row(statement, section))?;
    }
    for gap in &statement.gaps {
        writer.write_record(note_row("gap", statement, &gap.0))?;
    }
    writer.write_record(note_row("caution", statement, statement.caution))?;
    writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))
}

/// Text that a spreadsheet would take for a formula is marked as text. Numbers are written as numbers.
fn text(value: &str) -> String {
    let formula = value.starts_with(['=', '+', '-', '@', '\t', '\r', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}']);
    if formula { format!("'{value}") } else { value.to_owned() }
}

fn number<T: ToString>(value: Option<T>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

fn line_row(statement: &Statement, section: &SectionStatement, line: &StatementLine) -> [String; 27] {
    let mut row: [String; 27] = Default::default();
    let cells = [
        "application".to_owned(),
        text(&statement.client_name),
        text(&section.address),
        text(&section.section_name),
        line.applied_on.to_string(),
        line.application_id.to_string(),
        number(line.correction_id),
        text(&line.product_name),
        line.grade.clone(),
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

fn total_row(statement: &Statement, section: &SectionStatement) -> [String; 27] {
    let cap = section.cap.as_ref();
    [
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
        String::new(),
        String::new(),
        String::new(),
        String::new(),
    ]
}

fn note_row(kind: &str, statement: &Statement, note: &str) -> [String; 27] {
    let mut row: [String; 27] = Default::default();
    kind.clone_into(&mut row[0]);
    row[1] = text(&statement.client_name);
    row[25] = text(note);
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
