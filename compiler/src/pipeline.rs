//! The way through, on one screen.

use crate::audit::Audit;
use crate::budget::Budget;
use crate::check::Job;
use crate::lanes::LanePlan;
use crate::operations::WorkOrder;
use crate::route::Route;
use crate::seeds::SeedMap;
use crate::site::Site;

/// A job with all that was computed from it.
#[derive(Clone, Debug)]
pub struct Compiled {
    /// What was asked.
    pub job: Job,
    /// The fields in metres.
    pub site: Site,
    /// One plan for each field, in the job's order.
    pub fields: Vec<FieldPlan>,
}

/// Everything computed for one field.
#[derive(Clone, Debug)]
pub struct FieldPlan {
    /// Lanes and what stays unworked.
    pub lanes: LanePlan,
    /// Their order and the ways between.
    pub route: Route,
    /// Every seed.
    pub seeds: SeedMap,
    /// Set-points, one for each operation.
    pub orders: Vec<WorkOrder>,
    /// Time and seed.
    pub budget: Budget,
    /// What was proven.
    pub audit: Audit,
}
