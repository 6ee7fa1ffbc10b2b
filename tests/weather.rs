//! Weather from services over real HTTP: what they say is kept, can stop work, and never wrongly clears it.
//!
//! The samples in `weather/samples` are hand-made after the documents of the US National Weather Service, whose data are in the
//! public domain, and of Open-Meteo (CC BY 4.0); their values are invented.

mod client;
mod copies;
mod decisions;
mod drill;
mod emergencies;
mod evidence;
pub mod fake_weather;
mod golden;
mod here_and_now;
mod mutants;
mod mutation;
mod operator;
mod watching;
mod windows;
