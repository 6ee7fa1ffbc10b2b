//! The yearly totals.
