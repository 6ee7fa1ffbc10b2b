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

fn text(value: &Value) -> String {
    value.as_str().map_or_else(|| if value.is_null() { "-".to_owned() } else { value.to_string() }, str::to_owned)
}

/// The statement as the owner reads it.
pub fn statement(statement: &Value) -> String {
    let mut out = format!(
        "  {} for {}, {}\n  {} to {}, prepared {}\n\n",
        text(&statement["company_name"]),
        text(&statement["client_name"]),
        text(&statement["mailing_address"]),
        text(&statement["from"]),
        text(&statement["to"]),
        text(&statement["prepared_at"]),
    );
    let sections = statement["sections"].as_array().cloned().unwrap_or_default();
    let rows: Vec<Vec<String>> = sections
        .iter()
        .map(|section| {
            vec![
                text(&section["section_name"]),
                text(&section["area_sqft"]),
                text(&section["cap"]["limit_lb_per_1000_sqft"]),
                text(&section["nitrogen_lb_per_1000_sqft"]),
                text(&section["quick_nitrogen_lb_per_1000_sqft"]),
                text(&section["phosphate_lb_per_1000_sqft"]),
                text(&section["potash_lb_per_1000_sqft"]),
                text(&section["remaining_nitrogen_lb_per_1000_sqft"]),
                text(&section["percent_of_cap"]),
            ]
        })
        .collect();
    out += "  Pounds on 1,000 sq ft this year\n";
    out += &table(&["section", "sq ft", "cap N", "N", "quick N", "P2O5", "K2O", "N left", "% of cap"], &rows);
    out += "\n\n";
    let lines: Vec<Vec<String>> = sections
        .iter()
        .flat_map(|section| {
            let name = text(&section["section_name"]);
            let lines = section["lines"].as_array().cloned().unwrap_or_default();
            lines.into_iter().map(move |line| {
                vec![
                    text(&line["applied_on"]),
                    name.clone(),
                    text(&line["product_name"]),
                    text(&line["product_lb"]),
                    text(&line["delivers"]["nitrogen_lb"]),
                    text(&line["nitrogen_lb_per_1000_sqft"]),
                    text(&line["applied_by"]),
                    text(&line["application_id"]),
                ]
            })
        })
        .collect();
    out += &table(&["day", "section", "product", "lb", "lb N", "N on 1,000", "by", "record"], &lines);
    if let Some(cap) = sections.iter().map(|section| &section["cap"]).find(|cap| !cap.is_null()) {
        let _ = write!(out, "\n\n  Cap set by: {}, {}", text(&cap["rule"]), text(&cap["citation"]));
    }
    for gap in statement["gaps"].as_array().into_iter().flatten() {
        let _ = write!(out, "\n  Note: {}", text(gap));
    }
    out + &format!("\n  {}", text(&statement["caution"]))
}
