//! clearances
