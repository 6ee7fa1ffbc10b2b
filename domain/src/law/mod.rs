//! The law as data: dated, cited rules, one jurisdiction a file.
//!
//! A file is read once, at the start; a fault in any of them stops it. What holds is the law of the day of application, and
//! a day before the oldest text that was read is answered as unknown, never as free.

mod about;
mod book;
mod changes;
pub mod comparator;
mod completeness;
mod convert;
mod difference;
pub mod disclosure;
mod duties;
pub mod duty;
mod embedded;
mod fault;
mod fields;
pub mod kind;
mod limits;
mod loosening;
mod mark;
pub mod model;
pub mod month_day;
mod names;
pub mod nutrient;
mod on_day;
mod reach;
mod read;
mod read_about;
mod read_disclosure;
mod read_source;
mod rule_name;
mod schema;
mod schema_fields;
pub mod scope;
mod sentences;
mod soil_reports;
mod stack;
mod strictest;
pub mod year;

pub use about::{AppliesTo, Authorization, CoverageGap, Level, LocalRules, Outside, Preemption, RowId, RuleSetAbout};
pub use book::Lawbook;
pub use changes::RuleChange;
pub use completeness::CredentialNeeded;
pub use difference::RuleDifference;
pub use duties::{Bound, DutySource, KeptUntil, ReportDue, RequiredField};
pub use embedded::{COMPANY, EMBEDDED, LABEL};
pub use fault::LawFault;
pub use limits::{LimitDifference, LimitedLawn};
pub use loosening::PhosphorusFound;
pub use mark::Mark;
pub use model::RuleSet;
pub use on_day::{InForce, RuleOnDay};
pub(crate) use reach::Reach;
pub use rule_name::RuleName;
pub use schema::rule_file_schema;
pub use soil_reports::ReportTaken;
pub use stack::RuleSetUsed;
pub(crate) use stack::{Force, Stack};
pub use strictest::{CapPer, Intent, Strictest, StrictestCap, StrictestDistance, StrictestMonths};
