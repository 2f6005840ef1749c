"""plan.py FOLDER…: the plan, recomputed by shapely and pyproj from the emitted files alone.

Areas on the plane and on the ellipsoid, lane and turn lengths, the order of the lanes, the joints
between lines, row pieces, seed rows beside the lanes that sow them, and the sum that must hold:
worked + headland + keep-out + left-over = field.
"""

import sys

import numpy as np
import pyproj
import shapely
from emitted import Emitted, name_of, run
from motion import driven_along

KINDS = {
    "boundary", "fence", "keep-out", "headland", "block", "lane", "turn", "transit", "left-over",
    "home", "base-station", "stop", "hold", "zone",
}
# Positions have nine decimals of a degree, 0.11 mm; a line of many vertices sums their rounding.
ROUNDING_M = 0.0002
CHORD_M = 0.001


def check(folder, report):
    plan = Emitted(folder)
    kinds(plan, report)
    for field in plan.fields():
        ground(plan, field, report)
        order(plan, field, report)
        lines(plan, field, report)
        rows(plan, field, report)
    figures(plan, report)
    if not plan.manifest.get("weeding"):
        seed_rows(plan, report)


def kinds(plan, report):
    for feature in plan.features:
        report.check("every kind is one of the contract", feature.kind in KINDS, feature.kind)
    for kind in ("boundary", "fence", "lane", "block"):
        report.check("the plan holds boundary, fence, blocks and lanes", plan.of(kind), kind)
    for position in positions(plan.features + plan.seed_rows):
        exact = all(abs(value * 1e9 - round(value * 1e9)) < 1e-3 for value in position[:2])
        report.check("positions have nine decimals or fewer", exact, position)


def positions(features):
    for feature in features:
        stack = [feature.geometry["coordinates"]]
        while stack:
            item = stack.pop()
            if isinstance(item[0], (int, float)):
                yield item
            else:
                stack.extend(item)


def ground(plan, field, report):
    boundary = plan.region("boundary", field)
    fence = plan.region("fence", field)
    for kind in ("boundary", "fence", "headland", "block", "left-over", "keep-out"):
        for feature in plan.of(kind, field):
            # In degrees, as they stand in the file: on the way to metres slivers move by nanometres.
            shape = shapely.geometry.shape(feature.geometry)
            report.check("areas are valid polygons", shape.is_valid, f"{field} {kind}: {shapely.is_valid_reason(shape)}")
    report.check("the fence lies inside the boundary", boundary.buffer(ROUNDING_M).covers(fence), field)
    for keep_out in plan.of("keep-out", field):
        near = fence.distance(keep_out.ground)
        wanted = keep_out.properties["clearance_m"]
        # A circle is drawn by chords that lie outside it, by less than half a millimetre.
        report.check("the fence keeps its clearance from keep-outs", near >= wanted - 0.0005,
                     f"{keep_out.properties['name']}: {near:.4f} m of {wanted} m")


def order(plan, field, report):
    lanes = plan.of("lane", field)
    report.check("lane orders are 1 to n", sorted(f.properties["order"] for f in lanes) == list(range(1, len(lanes) + 1)), field)
    turns = sorted((f.properties["from"], f.properties["to"]) for f in plan.of("turn", field))
    moved = moves(plan, field)
    report.check("a turn between any two lanes that follow each other, unless a person moves the machine",
                 turns == [(n, n + 1) for n in range(1, len(lanes)) if n not in moved], f"{field}: {turns[:4]}…")
    for transit in plan.of("transit", field):
        ends = (transit.properties["from"], transit.properties["to"])
        report.check("transits lead from home and to the exit", ends in ((0, 1), (len(lanes), len(lanes) + 1)), ends)


def moves(plan, field):
    """The lanes after which a person moves the machine, with where from and where to."""
    return {f.properties["after"]: (f.geometry["coordinates"], f.properties["to"])
            for f in plan.of("stop", field) if f.properties["reason"] == "moved-by-hand"}


def lines(plan, field, report):
    way = plan.way(field)
    moved = moves(plan, field)
    for before, after in zip(way, way[1:]):
        if before.kind == after.kind == "lane":
            ends = [before.geometry["coordinates"][-1], after.geometry["coordinates"][0]]
            said = moved.get(before.properties["order"], ())
            report.check("the machine is moved by hand from where it stops to where it goes on",
                         list(said) == ends, f"{field}: after {name_of(before)}")
            continue
        same = before.geometry["coordinates"][-1] == after.geometry["coordinates"][0]
        report.check("each line ends where the next begins", same,
                     f"{field}: {name_of(before)} to {name_of(after)}")
    for feature in way:
        length = feature.ground.length
        # A chord that leaves its arc by e is shorter than it by about 8 e² / (3 chord).
        vertices = len(feature.geometry["coordinates"])
        allowed = ROUNDING_M * (1 + vertices**0.5) + 0.001 * length
        report.close("lines are as long as they say", length, feature.properties["length_m"], allowed, name_of(feature))
        if feature.kind != "lane":
            legs(feature, report)
    for lane in plan.of("lane", field):
        points = np.asarray(lane.ground.coords)
        heading = compass(points[1] - points[0])
        # The first chord of a curve leaves the tangent by half the angle of its arc.
        allowed = 8.0 if bends(plan, lane) else 0.01
        difference = (heading - lane.properties["heading_deg"] + 180) % 360 - 180
        report.check("headings are those of the lines", abs(difference) <= allowed,
                     f"lane {lane.properties['order']}: {heading:.4f}°, said {lane.properties['heading_deg']}°")
        if not bends(plan, lane):
            chord = np.hypot(*(points[-1] - points[0]))
            report.close("straight lanes are straight", lane.ground.length, chord, 1e-6 * chord + ROUNDING_M, name_of(lane))


def bends(plan, lane):
    """Whether the lane belongs to a block whose rows are not straight."""
    blocks = plan.of("block", lane.field)
    return all(block.properties["heading_deg"] is None for block in blocks
               if block.properties["block"] == lane.properties["block"])


def legs(way, report):
    said, last = way.properties["legs"], len(way.geometry["coordinates"]) - 1
    holds = bool(said) and said[0]["first"] == 0 and said[-1]["last"] == last
    holds &= all(a["last"] == b["first"] for a, b in zip(said, said[1:]))
    holds &= all(leg["gear"] in ("forward", "reverse", "spot") for leg in said)
    report.check("legs cover their way without a gap", holds, f"{name_of(way)}: {said}")
    points = np.asarray(way.ground.coords)
    for leg in said:
        part = points[leg["first"]: leg["last"] + 1]
        if leg["gear"] == "spot":
            moved = np.hypot(*(part[-1] - part[0]))
            report.check("a turn on the spot stays there", moved <= ROUNDING_M, f"{name_of(way)}: {moved}")
            continue
        chord_error(part, name_of(way), report)


def chord_error(points, where, report):
    """Through three neighbouring vertices goes a circle; its chords leave it by sagitta."""
    if len(points) < 3:
        return
    a, b, c = points[:-2], points[1:-1], points[2:]
    ab, bc, ac = (np.hypot(*(q - p).T) for p, q in ((a, b), (b, c), (a, c)))
    cross = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    with np.errstate(divide="ignore", invalid="ignore"):
        curvature = np.where(ab * bc * ac > 1e-9, 2 * cross / (ab * bc * ac), 0.0)
    # The curvature is that of the whole three; the shorter chord is surely on one arc with it.
    sagitta = np.minimum(ab, bc) ** 2 * curvature / 8
    report.check("no chord leaves the way by more than a millimetre", sagitta.max() <= CHORD_M + ROUNDING_M,
                 f"{where}: {sagitta.max() * 1000:.2f} mm")


def rows(plan, field, report):
    offsets = plan.machine["row_offsets_m"]
    for lane in plan.of("lane", field):
        length = lane.properties["length_m"]
        for row in lane.properties["rows"]:
            # Each of two lengths is rounded to a millionth.
            inside = -1e-6 <= row["from_m"] < row["to_m"] <= length + 1.5e-6
            report.check("row pieces lie within their lane", inside, f"{name_of(lane)}: {row}")
            known = min(abs(row["offset_m"] - offset) for offset in offsets) < 1e-6
            report.check("row pieces are at the machine's tool rows", known, f"{name_of(lane)}: {row['offset_m']}")
        pieces = sorted((row["offset_m"], row["from_m"], row["to_m"]) for row in lane.properties["rows"])
        apart = all(a[0] != b[0] or a[2] <= b[1] + 1e-9 for a, b in zip(pieces, pieces[1:]))
        report.check("pieces of one tool row do not overlap", apart, name_of(lane))


def figures(plan, report):
    said = plan.figures
    boundary = [f.ground for f in plan.of("boundary")]
    field = sum(shape.area for shape in boundary)
    report.close("the field's area is that of its boundary", said["field_m2"], field, 1e-6 * field + 0.01)
    reference = pyproj.CRS(plan.manifest["frame"]["proj"]).get_geod()
    geodesic = sum(abs(reference.geometry_area_perimeter(shapely.geometry.shape(f.geometry))[0]) for f in plan.of("boundary"))
    report.close("the plane's area is the ellipsoid's", field, geodesic, 2e-5 * field)
    fence = sum(f.ground.area for f in plan.of("fence"))
    report.close("the soil's area is that inside the fence", said["soil_m2"], fence, 1e-6 * field + 0.01)
    parts = said["worked_m2"] + said["headland_m2"] + said["keep_out_m2"] + said["left_over_m2"]
    report.close("worked + headland + keep-out + left-over = field", parts, said["field_m2"], 1e-6 * field)
    left_over = sum(f.ground.area for f in plan.of("left-over"))
    report.close("left-over features add up", said["left_over_m2"], left_over, 1e-6 * field + 0.01 * len(plan.of("left-over")))
    grown = sum(
        shapely.union_all([k.ground.buffer(k.properties["clearance_m"], quad_segs=64) for k in plan.of("keep-out", name)])
        .intersection(plan.region("boundary", name)).area
        for name in plan.fields()
    )
    report.close("the keep-outs' area is theirs with clearance", said["keep_out_m2"], grown, 0.002 * grown + 0.01)
    worked(plan, report)
    for kind, figure in (("lane", "lane_m"), ("turn", "turn_m"), ("transit", "transit_m")):
        length = sum(f.ground.length for f in plan.of(kind))
        report.close("metres driven add up", said[figure], length, 0.001 * length + 0.001, kind)
    report.check("as many lanes as said", said["lanes"] == len(plan.of("lane")), said["lanes"])
    report.check("as many turns as said", said["turns"] == len(plan.of("turn")), said["turns"])
    report.check("efficiency is a ratio", 0 < said["field_efficiency"] <= 1, said["field_efficiency"])


def worked(plan, report):
    """Every row piece as a strip one row spacing wide, joined: the worked area and its overlap."""
    offsets = plan.machine["row_offsets_m"]
    spacing = (offsets[-1] - offsets[0]) / (len(offsets) - 1)
    total, covered = 0.0, 0.0
    for field in plan.fields():
        passes = []
        for lane in plan.of("lane", field):
            strips = []
            driven = driven_along(lane)
            for row in lane.properties["rows"]:
                line = tool_line(driven, row, plan.machine["tool_x_m"])
                strips.append(shapely.LineString(line).buffer(spacing / 2, cap_style="flat", join_style="bevel"))
            # Rows of one pass lean together on a curve behind the reference point; soil is
            # covered twice only where another pass covers it.
            passes.append(shapely.union_all(strips, grid_size=1e-5))
        union = shapely.union_all(passes, grid_size=1e-5).intersection(plan.region("fence", field).buffer(2.0))
        total += sum(one.area for one in passes)
        covered += union.area
    report.close("the worked area is that of the rows", plan.figures["worked_m2"], covered, 0.003 * covered)
    report.close("the overlap is what rows cover twice", plan.figures["overlap_m2"], total - covered, 0.0005 * covered + 0.1)


def tool_line(driven, row, tool_x):
    """The way of a tool row while the reference point goes from `from_m` to `to_m`."""
    stations = driven.stations()
    inner = stations[(stations > row["from_m"]) & (stations < row["to_m"])]
    place, angle = driven.at(np.concatenate([[row["from_m"]], inner, [row["to_m"]]]))
    forward = np.column_stack([np.cos(angle), np.sin(angle)])
    right = np.column_stack([np.sin(angle), -np.cos(angle)])
    return place + tool_x * forward + row["offset_m"] * right


def seed_rows(plan, report):
    count = sum(f.properties["count"] * f.properties.get("hill_seeds", 1) for f in plan.seed_rows)
    report.check("seed rows hold as many seeds as said", count == plan.figures["seeds"],
                 f"{count}, said {plan.figures['seeds']}")
    lanes = {(f.field, f.properties["order"]): f for f in plan.of("lane")}
    used = {}
    for run_ in plan.seed_rows:
        said = run_.properties
        length = (said["count"] - 1) * said["spacing_m"] + said.get("hill_length_m", 0)
        report.close("seeds are their spacing apart along the line", run_.ground.length, length,
                     ROUNDING_M * (1 + len(run_.ground.coords) ** 0.5) + 0.0005 * length, said)
        said_ends = np.array([[said["first_x"], said["first_y"]], [said["last_x"], said["last_y"]]])
        off = np.abs(np.asarray(run_.ground.coords)[[0, -1]] - said_ends).max()
        report.check("seed rows' ends in metres and in degrees agree", off <= ROUNDING_M, f"{said}: {off}")
        lane = lanes.get((run_.field, said["lane"]))
        if report.check("each seed row names its lane", lane is not None, said):
            beside(plan, lane, run_, report)
        for index in (said["first"], said["first"] + (said["count"] - 1) * said.get("step", 1)):
            key = (run_.field, said["block"], said["row"], index)
            report.check("no lattice place is sown twice", key not in used or said["count"] == 1 and used[key] is run_, key)
            used[key] = run_


def beside(plan, lane, run_, report):
    """The seeds lie where the tool row passes while its piece is worked, within a millimetre."""
    driven = driven_along(lane)
    ways = [
        shapely.LineString(tool_line(driven, row, plan.machine["tool_x_m"]))
        for row in lane.properties["rows"]
        if row["row"] == run_.properties["row"]
    ]
    ends = [shapely.Point(run_.ground.coords[at]) for at in (0, -1)]
    off = max(min((way.distance(end) for way in ways), default=np.inf) for end in ends)
    report.check("seed rows lie under the tool rows of their lane", off <= 0.001,
                 f"{name_of(lane)}, row {run_.properties['row']}: {off * 1000:.1f} mm off")


def compass(step):
    return np.degrees(np.arctan2(step[0], step[1])) % 360


if __name__ == "__main__":
    run(check, sys.argv[1:])
