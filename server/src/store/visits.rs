//! visits
