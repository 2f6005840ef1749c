//! What was proven of a finished plan, with margins. A failed proof stops the emission.

use crate::geometry::Point;

/// The proofs of one field.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Audit {
    /// Each proof, in a fixed order.
    pub checks: Vec<Check>,
}

/// One proof.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// The rule that it proves, e.g. `audit/inside-fence`.
    pub rule: &'static str,
    /// What is left before the rule would be broken; negative when it is.
    pub margin: f64,
    /// Unit of the margin.
    pub unit: &'static str,
    /// Where the margin is smallest, in the field frame.
    pub place: Option<Point>,
}
