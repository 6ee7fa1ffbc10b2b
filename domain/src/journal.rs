//! The hash chain.
