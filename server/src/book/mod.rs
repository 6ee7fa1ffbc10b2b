//! The acts that span nouns in one transaction. API and pages both call these.

pub mod act;
pub mod application;
pub mod backup;
pub mod clearance;
pub mod company_year;
pub mod correction;
pub mod days;
pub mod duties;
pub mod facts;
pub mod office;
pub mod places;
pub mod record;
pub mod statement;
pub mod verify;
pub mod weather;
