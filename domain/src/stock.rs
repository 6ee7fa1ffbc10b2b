//! Stock balances.
