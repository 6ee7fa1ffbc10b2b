//! Tables for a terminal.

use std::fmt::Write as _;

use serde_json::Value;

/// Columns as wide as their widest cell; numbers to the right.
pub fn table(head: &[&str], rows: &[Vec<String>]) -> String {
    let width =
        |at: usize| rows.iter().map(|row| row[at].chars().count()).chain([head[at].chars().count()]).max().unwrap_or(0);
    let widths: Vec<usize> = (0..head.len()).map(width).collect();
    let line = |cells: &[String]| {
        let padded = cells.iter().zip(&widths).map(|(cell, width)| {
            let number = cell.chars().all(|c| c.is_ascii_digit() || ".-%".contains(c)) && !cell.is_empty();
            if number { format!("{cell:>width$}") } else { format!("{cell:<width$}") }
        });
        format!("  {}", padded.collect::<Vec<_>>().join("  ")).trim_end().to_owned()
    };
    let head: Vec<String> = head.iter().map(|&cell| cell.to_owned()).collect();
    let rule: Vec<String> = widths.iter().map(|width| "-".repeat(*width)).collect();
    let lines = [line(&head), line(&rule)].into_iter().chain(rows.iter().map(|row| line(row)));
    lines.collect::<Vec<_>>().join("\n")
}

/// A value as a cell shows it.
pub fn cell(value: &Value) -> String {
    value.as_str().map_or_else(|| if value.is_null() { "-".to_owned() } else { value.to_string() }, str::to_owned)
}

/// The statement as the owner reads it.
pub fn statement(statement: &Value) -> String {
    let mut out = format!(
        "  {} for {}, {}\n  {} to {}, prepared {}\n\n",
        cell(&statement["company_name"]),
        cell(&statement["client_name"]),
        cell(&statement["mailing_address"]),
        cell(&statement["from"]),
        cell(&statement["to"]),
        cell(&statement["prepared_at"]),
    );
    let sections = statement["sections"].as_array().cloned().unwrap_or_default();
    let rows: Vec<Vec<String>> = sections
        .iter()
        .map(|section| {
            vec![
                cell(&section["section_name"]),
                cell(&section["area_sqft"]),
                cell(&section["cap"]["limit_lb_per_1000_sqft"]),
                cell(&section["nitrogen_lb_per_1000_sqft"]),
                cell(&section["quick_nitrogen_lb_per_1000_sqft"]),
                cell(&section["phosphate_lb_per_1000_sqft"]),
                cell(&section["potash_lb_per_1000_sqft"]),
                cell(&section["remaining_nitrogen_lb_per_1000_sqft"]),
                cell(&section["percent_of_cap"]),
            ]
        })
        .collect();
    out += "  Pounds per 1,000 sq ft this year\n";
    out += &table(&["section", "sq ft", "cap N", "N", "quick N", "P2O5", "K2O", "N left", "% of cap"], &rows);
    out += "\n\n";
    let lines: Vec<Vec<String>> = sections
        .iter()
        .flat_map(|section| {
            let name = cell(&section["section_name"]);
            let lines = section["lines"].as_array().cloned().unwrap_or_default();
            lines.into_iter().map(move |line| {
                vec![
                    cell(&line["applied_on"]),
                    name.clone(),
                    cell(&line["product_name"]),
                    cell(&line["product_lb"]),
                    cell(&line["delivers"]["nitrogen_lb"]),
                    cell(&line["nitrogen_lb_per_1000_sqft"]),
                    cell(&line["applied_by"]),
                    cell(&line["credential_numbers"]),
                    cell(&line["application_id"]),
                ]
            })
        })
        .collect();
    out += &table(&["day", "section", "product", "lb", "lb N", "N per 1,000", "by", "certificate", "record"], &lines);
    if let Some(cap) = sections.iter().map(|section| &section["cap"]).find(|cap| !cap.is_null()) {
        let _ = write!(out, "\n\n  Cap set by: {}, {}", cell(&cap["rule"]), cell(&cap["citation"]));
    }
    for gap in statement["gaps"].as_array().into_iter().flatten() {
        let _ = write!(out, "\n  Note: {}", cell(gap));
    }
    out + &format!("\n  {}", cell(&statement["caution"]))
}
