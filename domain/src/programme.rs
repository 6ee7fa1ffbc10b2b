//! The season's plan: which product goes down in which round, how much, and what is better left out.
//!
//! A solver proposes and the rules dispose: every planned round is put through the same decision as an application, with
//! all the others in the book, and what does not stand is taken back. A plan therefore breaks no rule that is known today.

mod candidates;
mod conflict;
mod cuts;
pub mod days;
mod float;
pub mod frame;
mod lime;
pub mod liming;
pub mod load;
mod model;
pub mod need;
pub mod open_days;
mod outcome;
mod planner;
pub mod published;
pub mod purchases;
pub mod schedules;
mod season;
mod solve;
pub mod stops;
pub mod timing;

pub use model::{
    PlanGoal, PlanProduct, PlanRound, PlannedRound, SeasonNeed, SeasonPlan, SeasonQuestion, SkippedRound, UnmetNeed,
};
pub use season::plan;
