//! manifest
