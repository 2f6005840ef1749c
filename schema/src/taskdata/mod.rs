//! The task data set of ISO 11783-10, second edition (version 4): what a farm office and a machine
//! hand to each other.
//!
//! In and out: the text of `TASKDATA.XML` and `LINKLIST.XML`. Each element is a plain struct whose
//! table stands in one of the modules below: the letter that the standard gives an attribute, a
//! name for people, its type. A required attribute is a plain field, an optional one an `Option`, so
//! that leaving a required one out does not compile. Values are the standard's own integers
//! (millimetres, mg per 1000, …); [`ddi`] names the data dictionary's entries with unit and
//! resolution.
//!
//! Source: the published schema files of ISO 11783-10, version 4.3 (revision date 2018-06-04),
//! and the public data dictionary of ISO 11783-11. Not handled: binary point files, external
//! files, and attributes of manufacturers' own; the reader passes over them.
//!
//! ```
//! use lanewright_schema::taskdata::*;
//!
//! let mut set = TaskData::new(
//!     MajorVersion::Four,
//!     MinorVersion::Three,
//!     Text::cut("Lanewright").text,
//!     Text::cut("1").text,
//!     TransferOrigin::Office,
//! );
//! set.farms.push(Farm::new(FarmId::office(1), Text::cut("Upper Thrennow").text));
//! let xml = write(&set);
//! assert!(xml.contains(r#"<FRM A="FRM1" B="Upper Thrennow"/>"#));
//! assert_eq!(read::<TaskData>(&xml).unwrap(), set);
//! ```

#[macro_use]
mod table;

mod coding;
pub mod ddi;
mod device;
mod id;
mod link;
mod partfield;
mod set;
mod task;
mod value;
mod xml;

#[cfg(test)]
mod sample;

pub use coding::*;
pub use device::*;
pub use id::*;
pub use link::*;
pub use partfield::*;
pub use set::*;
pub use task::*;
pub use value::*;
pub use xml::{Element, Node, ReadError, read, write};
