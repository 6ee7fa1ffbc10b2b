//! The rules of the domain, tried against published numbers and against themselves.

mod agronomy;
mod cases;
mod coverage;
mod decisions;
mod facts;
mod laws;
mod loader;
mod properties;
