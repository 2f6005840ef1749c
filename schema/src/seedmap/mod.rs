//! seedmap
