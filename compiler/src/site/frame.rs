//! The field frame: a transverse Mercator centred on the field, `k0 = 1`, made by PROJ.

use lanewright_schema::quantity::GeoPoint;

/// The parameters of the field frame; plain data, so that it travels with every output.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldFrame {
    /// The origin in the output's reference frame.
    pub origin: GeoPoint,
    /// The PROJ string of the projection.
    pub proj: String,
    /// Name of the reference frame of the coordinates that leave.
    pub reference: String,
    /// Its epoch, decimal year, where one applies.
    pub epoch: Option<f64>,
}
