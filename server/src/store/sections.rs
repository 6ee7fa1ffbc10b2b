//! sections
