//! emit
