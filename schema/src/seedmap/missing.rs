//! The table of seeds that were not sown: CSV with a heading line and the columns `field`, `block`,
//! `row` and `index`, numbered as in the seed map. Further columns are passed over.

use serde::Deserialize;
use std::collections::BTreeSet;

/// A place of the lattice on which no seed lies.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
pub struct Missing {
    /// The field's name.
    pub field: String,
    /// The block whose lattice numbers it.
    pub block: usize,
    /// Row number in that lattice.
    pub row: i64,
    /// Index in the row.
    pub index: i64,
}

/// Every place of a table, each once.
pub fn read(bytes: &[u8]) -> Result<BTreeSet<Missing>, csv::Error> {
    csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(bytes).deserialize().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_read_by_the_names_of_their_columns() {
        let table = "row,index,field,block,why\n-3, 12,Long Acre,1,skip\n-3,12,Long Acre,1,skip\n";
        let place = Missing { field: "Long Acre".into(), block: 1, row: -3, index: 12 };
        assert_eq!(read(table.as_bytes()).unwrap(), BTreeSet::from([place]));
        assert!(read(b"field,block,row\nLong Acre,1,2\n").is_err());
    }
}
