//! Where the machine stands: before and after the work, and while it is filled.
//!
//! In: a place that the job names, the free space. Out: whether the machine fits there in any heading, and where else
//! it does.

use crate::diagnostic::Finding;
use crate::geometry::{Point, Pose, region};
use crate::num;
use crate::rules;
use crate::site::FieldSite;
use crate::turns::FreeSpace;
use geo::{Closest, ClosestPoint};

/// Where the route begins and ends: home, else the first entrance; where the machine does not fit
/// there, the nearest place where it fits in any heading.
pub(super) fn standing_place(
    site: &FieldSite,
    space: &FreeSpace,
    findings: &mut Vec<Finding>,
) -> Option<Point> {
    let (name, asked) = match (site.home, site.entrances.first()) {
        (Some(home), _) => ("home".to_owned(), home),
        (None, Some((name, at))) => (format!("entrance `{name}`"), *at),
        (None, None) => return None,
    };
    if fits(space, asked) {
        return Some(asked);
    }
    let nearest = nearest_roomy(site, space, asked)?;
    let away = num::hypot(nearest.x - asked.x, nearest.y - asked.y);
    let message = format!(
        "the machine does not fit inside the fence at {name}; the route begins and ends {away:.1} m from it"
    );
    findings.push(rules::finding("route/home-moved", message).with_place(site.inverse.to_geo(asked)));
    Some(nearest)
}

/// Whether the machine fits at a place in some heading.
pub(super) fn fits(space: &FreeSpace, at: Point) -> bool {
    let fits = |angle: f64| space.clearance_at(Pose { at, angle }).is_some();
    (0..16).any(|step| fits(num::wrap_angle(f64::from(step) * num::PI / 8.0)))
}

/// The nearest place at which it fits in every heading.
pub(super) fn nearest_roomy(site: &FieldSite, space: &FreeSpace, to: Point) -> Option<Point> {
    let roomy = region::inset(&site.fence, space.footprint().reach() + crate::turns::SPARE_M);
    match roomy.closest_point(&to.into()) {
        Closest::Intersection(nearest) | Closest::SinglePoint(nearest) => Some(nearest.into()),
        Closest::Indeterminate => None,
    }
}
