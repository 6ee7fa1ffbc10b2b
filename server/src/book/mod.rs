//! The acts that span nouns in one transaction. API and pages both call these.

pub mod attention;
pub mod backup;
pub mod company_year;
pub mod credentials;
pub mod days;
pub mod doubts;
pub mod drift;
pub mod duties;
pub mod gaps;
pub mod history;
pub mod journal;
pub mod limit_moves;
pub mod load_sheet;
pub mod measurements;
pub mod office;
pub mod particulars;
pub mod receipts;
pub mod restore;
pub mod rule_sets;
pub mod season;
pub mod site;
pub mod soil_reports;
pub mod statement;
pub mod verify;
pub mod weather;
