"""task_data_isoxml.py FOLDER…: the task data set through the PyPI package isoxml.

It must read without a warning and give back what the other files say: the same boundaries and
keep-outs as valid shapely polygons, one guidance line for each lane in driving order with the same
vertices, the fence and the ways between lanes, and the rates of the seed map; of a weeding pass, the
depth of its tools.
"""

import sys
import warnings

import numpy as np
import shapely
from emitted import Emitted, run
from isoxml.converter.shapely_geom import ShapelyConverterV4
from isoxml.util.isoxml_io import isoxml_from_path

BOUNDARY, OBSTACLE = "1", "6"
TRAM_LINE, FENCE = "3", "7"
COUNT_PER_AREA, SEED_SPACING, SEEDING_DEPTH = "000B", "0010", "0038"
TILLAGE_DEPTH, WORK_STATE = "0033", "0121"
DEGREE = 1.1e-9


def check(folder, report):
    plan = Emitted(folder)
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        data, _ = isoxml_from_path(plan.folder / "TASKDATA")
    report.check("reads without a warning", not told, [str(w.message)[:160] for w in told])
    report.check("version 4.3", (str(value(data.version_major)), str(value(data.version_minor))) == ("4", "3"))
    fields = plan.fields()
    report.check("a partfield for each field", len(data.partfields) == len(fields), len(data.partfields))
    for partfield, field in zip(data.partfields, fields):
        polygons(partfield, plan, field, report)
        guidance(partfield, plan, field, report)
        lines(partfield, plan, field, report)
    report.check("a task for each field", len(data.tasks) == len(fields), len(data.tasks))
    passes = {asked["field"]: asked for asked in plan.manifest.get("weeding", [])}
    for task, field in zip(data.tasks, fields):
        if field in passes:
            weeding(task, passes[field], report)
        else:
            rates(task, plan, field, report)


def unwrapped(positions, longitude):
    """The task data keep longitudes within 180 degrees, the plan runs on across that meridian."""
    positions = np.array(positions, dtype=float)
    positions[:, 0] += 360 * np.round((longitude - positions[:, 0]) / 360)
    return positions


def value(item):
    return getattr(item, "value", item)


def polygons(partfield, plan, field, report):
    convert = ShapelyConverterV4()
    read = {}
    middle = plan.of("boundary", field)[0].geometry["coordinates"]
    while not isinstance(middle, float):
        middle = middle[0]
    for polygon in partfield.polygons:
        shape = shapely.transform(convert.to_shapely_polygon(polygon), lambda at: unwrapped(at, middle))
        kind = str(value(polygon.type))
        report.check("polygons are valid", shape.is_valid, f"{field}, type {kind}: {shapely.is_valid_reason(shape)}")
        read.setdefault(kind, []).append(shape)
    for kind, ours in ((BOUNDARY, "boundary"), (OBSTACLE, "keep-out")):
        expected = [shapely.geometry.shape(f.geometry) for f in plan.of(ours, field)]
        found = shapely.union_all(read.get(kind, []))
        off = found.hausdorff_distance(shapely.union_all(expected)) if expected else found.area
        report.check(f"the same polygons: {ours}", off <= DEGREE, f"{field}: {off} degrees off")


def guidance(partfield, plan, field, report):
    patterns = [pattern for group in partfield.guidance_groups for pattern in group.guidance_patterns]
    lanes = sorted(plan.of("lane", field), key=lambda f: f.properties["order"])
    if not report.check("a guidance line for each lane", len(patterns) == len(lanes), f"{len(patterns)} of {len(lanes)}"):
        return
    for pattern, lane in zip(patterns, lanes):
        points = np.array([[float(p.east), float(p.north)] for p in pattern.line_strings[0].points])
        expected = np.array(lane.geometry["coordinates"])
        points = unwrapped(points, expected[0, 0])
        line = shapely.LineString(points)
        ends = np.abs(points[[0, -1]] - expected[[0, -1]]).max()
        off = line.hausdorff_distance(shapely.LineString(expected))
        # A line may leave out vertices that a straight piece does not need, or of a curve as far as
        # 5 cm; its ends are the lane's.
        report.check("guidance lines begin and end as the lanes, in driving order", ends <= DEGREE,
                     f"{field}, lane {lane.properties['order']}: {ends}")
        report.check("guidance lines lie on the lanes", off <= 1e-6, f"{field}, lane {lane.properties['order']}: {off}")


def lines(partfield, plan, field, report):
    fence = [f for f in plan.of("fence", field)]
    ways = sorted(plan.of("turn", field) + plan.of("transit", field), key=lambda f: f.properties["from"])
    read = {FENCE: [], TRAM_LINE: []}
    for line in partfield.line_strings:
        read.setdefault(str(value(line.type)), []).append([[float(p.east), float(p.north)] for p in line.points])
    rings = sum(len(part) for f in fence for part in parts_of(f.geometry))
    report.check("the fence's rings are lines", len(read[FENCE]) == rings, f"{field}: {len(read[FENCE])} of {rings}")
    if not report.check("a line for each way", len(read[TRAM_LINE]) == len(ways), f"{len(read[TRAM_LINE])} of {len(ways)}"):
        return
    for points, way in zip(read[TRAM_LINE], ways):
        expected = np.array(way.geometry["coordinates"])
        points = unwrapped(np.array(points), expected[0, 0])
        ends = np.abs(points[[0, -1]] - expected[[0, -1]]).max()
        report.check("ways begin and end as in the plan, in driving order", ends <= DEGREE, f"{field}: {ends}")
        # A degree of latitude is 111 km: 2 cm, for a chord of 1 cm and what the plan's own leaves.
        off = max(shapely.LineString(expected).distance(shapely.Point(point)) for point in points)
        report.check("ways lie on those of the plan", off <= 2e-7, f"{field}, from {way.properties['from']}: {off}")


def parts_of(geometry):
    return geometry["coordinates"] if geometry["type"] == "MultiPolygon" else [geometry["coordinates"]]


def values_by_zone(task):
    return {zone.code: {p.process_data_ddi.hex().upper(): p.process_data_value for p in zone.process_data_variables}
            for zone in task.treatment_zones}


def weeding(task, asked, report):
    zones = values_by_zone(task)
    depth = zones.get(task.default_treatment_zone_code, {}).get(TILLAGE_DEPTH, 0)
    report.close("the tools are set as deep as the pass works", depth, 1000 * asked["depth_m"], 0.5)
    for what, code in (("out of the field", task.out_of_field_treatment_zone_code),
                       ("without a position", task.position_lost_treatment_zone_code)):
        zone = zones.get(code, {})
        report.check(f"{what} the tools are up", zone.get(WORK_STATE) == 0, f"zone {code}: {zone}")


def rates(task, plan, field, report):
    rows = [f for f in plan.seed_rows if f.field == field]
    offsets = plan.machine["row_offsets_m"]
    said = rows[0].properties
    # What holds for the whole task is the field's own spacing.
    zones = {f.properties["name"]: f.properties["rate"] for f in plan.of("zone", field)}
    spacing, seeds = said["spacing_m"] * zones.get(said.get("zone"), 1), said.get("hill_seeds", 1)
    between = (offsets[-1] - offsets[0]) / (len(offsets) - 1)
    zones = values_by_zone(task)
    work = zones.get(task.default_treatment_zone_code, {})
    report.close("the count per area is the lattice's", work.get(COUNT_PER_AREA, 0), 1000 * seeds / (spacing * between), 0.5)
    report.close("the seed spacing is the lattice's", work.get(SEED_SPACING, 0), 1000 * spacing, 0.5)
    report.check("a seeding depth is set", work.get(SEEDING_DEPTH, 0) > 0, work)
    for what, code in (("out of the field", task.out_of_field_treatment_zone_code),
                       ("without a position", task.position_lost_treatment_zone_code)):
        zone = zones.get(code, {})
        report.check(f"{what} nothing is sown", zone.get(COUNT_PER_AREA) == 0, f"zone {code}: {zone}")


if __name__ == "__main__":
    run(check, sys.argv[1:])
