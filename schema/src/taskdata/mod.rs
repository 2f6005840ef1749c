//! taskdata
