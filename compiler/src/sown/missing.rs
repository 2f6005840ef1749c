//! Whether a table of places without a seed belongs to the seed map.

use crate::check::{Field, Pass};
use crate::diagnostic::Finding;
use crate::rules;
use crate::seeds::SeedMap;
use lanewright_schema::seedmap::missing::Missing;
use std::collections::BTreeMap;

/// Why the table of places without a seed is not this field's.
pub fn not_on_the_map(pass: &Pass, field: &Field, seeds: &SeedMap) -> Option<Finding> {
    let runs: BTreeMap<_, (i64, i64)> = seeds
        .runs
        .iter()
        .map(|run| ((run.block.0, run.row, run.first), (run.last(), i64::from(run.step))))
        .collect();
    let on_the_map = |place: &Missing| {
        let before = runs.range(..=(place.block, place.row, place.index)).next_back();
        before.is_some_and(|(&(block, row, first), &(last, step))| {
            let on_run = place.index <= last && (place.index - first) % step == 0;
            (block, row) == (place.block, place.row) && on_run
        })
    };
    let of_field = pass.missing.iter().filter(|place| place.field == field.name);
    let strange: Vec<&Missing> = of_field.filter(|place| !on_the_map(place)).collect();
    let first = strange.first()?;
    let message = format!(
        "{} of the table's places are not on the seed map of `{}`, the first of them block {}, row {}, index {}",
        strange.len(),
        field.name,
        first.block,
        first.row,
        first.index
    );
    Some(
        rules::finding("weeding/missing-seeds", message)
            .with_span(pass.places.missing.clone(), "of another map")
            .with_hint(
                "take the log of this very sowing; `seed-rows.geojson` tells the blocks, rows and indices",
            ),
    )
}
