//! applications
