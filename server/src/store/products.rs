//! products
