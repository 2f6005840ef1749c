"""fence.py FOLDER…: body and antennas stay inside the fence, by footprints of an own making.

The way of the reference point is rebuilt from plan.geojson, the body and the antennas come from
manifest.json, and shapely says whether each footprint lies in the fence. Straight pieces are swept
exactly, as the hull of the footprints at both ends; curves and turns on the spot are sampled, so
densely that no point of the body moves by more than about 5 cm between samples, and the hull of
two neighbouring footprints, which holds all but a sagitta of 0.2 mm of what lies between, must be
inside too. Also: each lane and way goes on in the direction in which the one before ended, but where a
person moves the machine.
"""

import sys

import numpy as np
import shapely
from emitted import Emitted, name_of, run
from motion import Motion

# Nine decimals of a degree (0.1 mm) under a lever of some metres; the sagitta between samples.
TOLERANCE_M = 0.003
STEP_M = 0.05
STEP_RAD = 0.02
# What the rounding of positions, 0.1 mm, does to the direction of a short chord.
DIRECTION_RAD = 0.02
# The direction of a leg shorter than this is lost in that rounding; the body hardly moves on it.
SHORT_M = 0.01


def check(folder, report):
    plan = Emitted(folder)
    body = np.array(plan.machine["body_m"]).reshape(-1, 2)
    antennas = np.array(plan.machine["antennas_m"]).reshape(-1, 2)
    for field in plan.fields():
        fence = plan.region("fence", field).buffer(TOLERANCE_M)
        shapely.prepare(fence)
        way = plan.way(field)
        report.check("there is a way to prove", way, field)
        by_hand = [s.properties["after"] for s in plan.of("stop", field) if s.properties["reason"] == "moved-by-hand"]
        before = None
        for feature in way:
            if feature.kind == "lane" and feature.properties["order"] - 1 in by_hand:
                before = None
            for leg, (places, angles) in enumerate(poses(feature, before, report)):
                outside = leaves(places, angles, body, antennas, fence)
                report.check("body and antennas stay inside the fence", outside is None,
                             f"{field}, {name_of(feature)}, leg {leg}: {outside}")
                turned = 0.0 if before is None else abs((angles[0] - before + np.pi) % (2 * np.pi) - np.pi)
                report.check("each piece goes on as the one before ended", turned <= DIRECTION_RAD,
                             f"{field}, {name_of(feature)}, leg {leg}: {np.degrees(turned):.2f}°")
                before = angles[-1]


def poses(feature, heading, report):
    """Places and body directions of each leg, sampled; `heading` is the body's at the start."""
    points = np.asarray(feature.ground.coords)
    whole = [{"gear": "forward", "first": 0, "last": len(points) - 1}]
    for leg in feature.properties.get("legs") or whole:
        part = points[leg["first"]: leg["last"] + 1]
        if leg["gear"] == "spot":
            # Degrees to the right, as headings count; angles count the other way.
            turn = -np.radians(leg["turn_deg"])
            steps = max(2, int(np.ceil(abs(turn) / STEP_RAD)) + 1)
            places, angles = np.repeat(part[:1], steps, axis=0), heading + np.linspace(0, turn, steps)
        else:
            backwards = np.pi if leg["gear"] == "reverse" else 0.0
            motion = Motion(part, None if heading is None else heading + backwards)
            if motion.total < SHORT_M:
                continue
            report.check("ways have no kink", motion.kink() <= DIRECTION_RAD,
                         f"{name_of(feature)}: {np.degrees(motion.kink()):.2f}°")
            places, angles = motion.at(motion.stations(STEP_M, STEP_RAD))
            angles = angles + backwards
        heading = angles[-1]
        yield places, angles


def leaves(places, angles, body, antennas, fence):
    """The first place where a footprint leaves the fence, or None."""
    forward = np.column_stack([np.cos(angles), np.sin(angles)])
    right = np.column_stack([np.sin(angles), -np.cos(angles)])

    def ground(corners):
        return places[:, None, :] + forward[:, None, :] * corners[None, :, :1] + right[:, None, :] * corners[None, :, 1:]

    for corners in [*convex_parts(body), antennas]:
        spots = ground(corners)
        swept = shapely.convex_hull(shapely.multipoints(np.concatenate([spots[:-1], spots[1:]], axis=1)))
        inside = shapely.covers(fence, swept)
        if not inside.all():
            worst = swept[~inside][0]
            by = shapely.hausdorff_distance(worst.intersection(fence), worst) if worst.intersects(fence) else np.inf
            return f"at {places[np.argmin(inside)].round(2).tolist()} by {by * 1000:.1f} mm beyond the tolerance"
    return None


def convex_parts(body):
    """The body itself if it has no dent, else the triangles that it is made of."""
    outline = shapely.Polygon(body)
    if outline.convex_hull.area - outline.area < 1e-9:
        return [body]
    triangles = shapely.constrained_delaunay_triangles(outline).geoms
    return [np.asarray(triangle.exterior.coords)[:3] for triangle in triangles]


if __name__ == "__main__":
    run(check, sys.argv[1:])
