//! How the seeds lie, in words: distances, pattern, shift, and the rows that are sown otherwise or not
//! at all.

use super::super::words;
use super::document::Block;
use crate::check::{Pattern, Spacing, Stand};
use crate::geometry::lattice::nearest_neighbour;
use lanewright_schema::quantity::Length;

/// The lattice in one line.
pub fn spacing(spacing: &Spacing) -> String {
    let stand = Stand { spacing: spacing.between_seeds, pattern: spacing.pattern };
    let between_rows = words::measure(spacing.between_rows);
    let square = (spacing.between_rows - spacing.between_seeds).abs() < Length::mm(0.01);
    let stagger = if spacing.stagger > 0.0 {
        let shift = words::measure(spacing.between_seeds * spacing.stagger);
        let (rows, seeds) = (spacing.between_rows.to_m(), spacing.between_seeds.to_m());
        let nearest = Length::m(nearest_neighbour(rows, seeds, spacing.stagger));
        format!(
            ", each row shifted by {shift} against the one before; the nearest neighbour stands {} away",
            words::measure(nearest)
        )
    } else if square && spacing.pattern != Pattern::Drill {
        "; squares, so that straight rows can be crossed".to_owned()
    } else {
        String::new()
    };
    format!("{between_rows} between rows, {}{stagger}", in_row(stand))
}

/// Distance and pattern in the row.
fn in_row(stand: Stand) -> String {
    let spacing = words::measure(stand.spacing);
    match stand.pattern {
        Pattern::Single => format!("{spacing} in the row, one seed at a place"),
        Pattern::Hill { seeds, length } => format!(
            "{spacing} in the row between hills of {} seeds, each {} long",
            words::count(seeds.into()),
            words::measure(length)
        ),
        Pattern::Drill => {
            format!("drilled, {} seeds a metre of row", words::short(1.0 / stand.spacing.to_m(), 1))
        }
    }
}

/// Distance and pattern in the row, for a table whose head says that it is about the row.
pub fn at_places(stand: Stand) -> String {
    let spacing = words::measure(stand.spacing);
    match stand.pattern {
        Pattern::Single => format!("{spacing}, one seed"),
        Pattern::Hill { seeds, length } => {
            format!("{spacing}, {} seeds within {}", words::count(seeds.into()), words::measure(length))
        }
        Pattern::Drill => format!("{spacing} on average, drilled"),
    }
}

/// Rows that are sown otherwise, row ends and tramlines; nothing where all is alike.
pub fn exceptions(spacing: &Spacing) -> Option<Block> {
    let mut rows: Vec<(String, String)> = Vec::new();
    let mut own = spacing.own_rows.as_slice();
    while let Some(first) = own.first() {
        let alike = own.iter().take_while(|row| row.stand == first.stand).count();
        let numbers: Vec<String> = own[..alike].iter().map(|row| (row.tool_row + 1).to_string()).collect();
        rows.push((format!("Tool row {}", words::list(&numbers)), in_row(first.stand)));
        own = &own[alike..];
    }
    if spacing.row_end_margin > Length::ZERO {
        let margin = format!("{} at each end of straight rows", words::measure(spacing.row_end_margin));
        rows.push(("Unsown row ends".to_owned(), margin));
    }
    if let Some(tramlines) = &spacing.tramlines {
        let numbers: Vec<String> = tramlines.rows.iter().map(|row| (row + 1).to_string()).collect();
        rows.push((
            "Tramlines".to_owned(),
            format!(
                "row {} of every {} lanes from lane {} on, seen along each block's heading, stay unsown",
                words::list(&numbers),
                tramlines.every,
                tramlines.first + 1,
            ),
        ));
    }
    (!rows.is_empty()).then_some(Block::Facts { rows })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::OwnRow;
    use crate::site::example;

    fn told(change: impl Fn(&mut Spacing)) -> String {
        let mut asked = example::field().spacing;
        change(&mut asked);
        spacing(&asked)
    }

    #[test]
    fn each_pattern_reads_well() {
        assert_eq!(told(|_| ()), "45 cm between rows, 18 cm in the row, one seed at a place");
        let hills = told(|s| {
            s.between_seeds = Length::cm(45.0);
            s.pattern = Pattern::Hill { seeds: 3, length: Length::cm(6.0) };
        });
        assert_eq!(
            hills,
            "45 cm between rows, 45 cm in the row between hills of 3 seeds, each 6 cm long; squares, so \
             that straight rows can be crossed"
        );
        let drilled = told(|s| (s.between_seeds, s.pattern) = (Length::mm(12.5), Pattern::Drill));
        assert_eq!(drilled, "45 cm between rows, drilled, 80 seeds a metre of row");
        let hex = told(|s| (s.between_seeds, s.stagger) = (Length::cm(52.0), 0.5));
        assert!(
            hex.ends_with("shifted by 26 cm against the one before; the nearest neighbour stands 52 cm away")
        );
    }

    #[test]
    fn exceptions_are_told_together() {
        let mut asked = example::field().spacing;
        assert_eq!(exceptions(&asked), None);
        let stand = Stand { spacing: Length::cm(36.0), pattern: Pattern::Single };
        asked.own_rows = [0, 5].map(|tool_row| OwnRow { tool_row, stand }).to_vec();
        let Some(Block::Facts { rows }) = exceptions(&asked) else { panic!("facts") };
        assert_eq!(
            rows,
            [("Tool row 1 and 6".to_owned(), "36 cm in the row, one seed at a place".to_owned())]
        );
    }
}
