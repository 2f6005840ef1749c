"""zones.py FOLDER…: treatment zones, from the emitted files alone, by shapely, pyproj and isoxml.

Seeds of a zone stand as far apart as its rate says; where a row passes from one zone into another the clear
distance is no less than in the closer zone and no more than in the wider, or than one part that both spacings are
multiples of above the closer; rows of a zone line up; in the
end each zone has as many seeds as its ground and rate want. The task's grid holds the rate at the
middle of each cell, read by the PyPI package isoxml. Folders without zones are passed over.
"""

import math
import sys

import numpy as np
import pyarrow.parquet as parquet
import shapely
from emitted import Emitted, run
from isoxml.converter.np_grid import to_numpy_array
from isoxml.models.ddi_entities import DDEntity
from isoxml.util.isoxml_io import isoxml_from_path

# A border moves to the nearest pair of places that keep their distance.
BORDER_M = 2.0
COUNT_PER_AREA, SEED_SPACING = "000B", "0010"


def check(folder, report):
    plan = Emitted(folder)
    for number, field in enumerate(plan.fields()):
        if plan.of("zone", field):
            zoned(plan, field, number, report)


def zoned(plan, field, number, report):
    zones = {f.properties["name"]: f for f in plan.of("zone", field)}
    rates = {name: f.properties["rate"] for name, f in zones.items()}
    ground = {name: f.ground for name, f in zones.items()}
    rows = [f.properties for f in plan.seed_rows if f.field == field]
    offsets = plan.machine["row_offsets_m"]
    between = (offsets[-1] - offsets[0]) / (len(offsets) - 1)
    in_place = {row.get("zone"): row.get("hill_seeds", 1) for row in rows}
    each = np.array([row["spacing_m"] / in_place[row.get("zone")] for row in rows])
    own = each * [rates.get(row.get("zone"), 1.0) for row in rows]
    in_none = [apart for row, apart in zip(rows, each) if "zone" not in row]
    named = np.array(["zone" in row for row in rows])
    report.check("zones share one mean distance of seeds, each by its rate", np.ptp(own[named]) < 1e-5, f"{field}: {np.unique(own[named])}")
    own = own[named][0]
    elsewhere = own / in_none[0] if in_none else None
    seeds = runs_of_seeds(plan, field)
    in_their_zones(rows, seeds, ground, field, report)
    across_borders(rows, seeds, field, report)
    line_up(plan, rows, seeds, field, report)
    own_m2 = between * own
    # Valid in degrees, as the plan's reader checks; on the way to metres slivers move by nanometres.
    unsown = shapely.union_all([shapely.make_valid(f.ground) for f in plan.of("left-over", field)])
    counted(seeds, ground, unsown, rates, own_m2, field, report)
    grid(plan, field, number, ground, rates, elsewhere, own_m2, in_place, report)


def runs_of_seeds(plan, field):
    """For each seed row its seeds, in the file's order: those of the seed file."""
    table = parquet.read_table(plan.folder / "seeds.parquet", columns=["field", "block", "row", "index", "x", "y"])
    seeds = {name: table[name].to_numpy() for name in table.column_names}
    own = seeds["field"] == field
    points = np.column_stack([seeds["x"][own], seeds["y"][own]])
    counts = [f.properties["count"] * f.properties.get("hill_seeds", 1) for f in plan.seed_rows if f.field == field]
    return np.split(points, np.cumsum(counts)[:-1])


def in_their_zones(rows, seeds, ground, field, report):
    for row, points in zip(rows, seeds):
        spots = shapely.points(points)
        if "zone" in row:
            off = shapely.distance(ground[row["zone"]], spots).max()
        else:
            off = max(shapely.distance(zone.boundary, spots[shapely.covers(zone, spots)]).max(initial=0)
                      for zone in ground.values())
        report.check("seeds lie in their zones, or as near to them as a border moves", off < BORDER_M,
                     f"{field}, row {row['row']}, {row.get('zone')}: {off:.2f} m")


def across_borders(rows, seeds, field, report):
    """Runs follow each other in the order of block and row. What counts is the clear distance, from the last
    seed of one place to the first of the next."""
    borders = 0
    for (before, here), (after, there) in zip(zip(rows, seeds), zip(rows[1:], seeds[1:])):
        one_row = all(before[key] == after[key] for key in ("block", "row", "lane"))
        if not one_row or before.get("zone") == after.get("zone"):
            continue
        gap = np.hypot(*(there[0] - here[-1]))
        lengths = [row.get("hill_length_m", 0) for row in (before, after)]
        least, most = sorted(row["spacing_m"] - length for row, length in zip((before, after), lengths))
        if gap > 3 * max(before["spacing_m"], after["spacing_m"]):
            continue  # an unsown zone lies between
        if lengths[0] != lengths[1]:
            # Clear distances may lie nearer to each other than what both spacings are whole numbers of.
            steps = [row.get("step", 1) for row in (before, after)]
            common = math.gcd(*steps) * before["spacing_m"] / steps[0]
            most = max(most, least + common) if steps[0] != steps[1] else most
        borders += 1
        # On a bend the gap is a chord.
        report.check("across a border no seeds are nearer than in the closer zone", gap >= least * 0.995,
                     f"{field}, row {before['row']}: {gap:.4f} m of {least}")
        report.check("across a border no seeds are farther than in the wider zone", gap <= most * 1.0005,
                     f"{field}, row {before['row']}: {gap:.4f} m of {most}")
    # Blocks with a rate of their own are zones by that name; no row passes from one into another.
    if any(not row.get("zone", "block ").startswith("block ") for row in rows):
        report.check("rows pass from zone to zone", borders > 0, field)


def line_up(plan, rows, seeds, field, report):
    """In a straight block each zone's places lie on lines across the rows: their distance from the
    block's origin, in spacings, has one fraction in each row, whatever the zone, and that fraction grows
    by the same from row to row."""
    blocks = {f.properties["block"]: f.properties for f in plan.of("block", field)}
    fractions = {}
    for row, points in zip(rows, seeds):
        block = blocks[row["block"]]
        if block.get("heading_deg") is None or row["pattern"] == "hill":
            continue
        heading = np.radians(block["heading_deg"])
        along = (points - block["datum_m"]) @ [np.sin(heading), np.cos(heading)]
        fractions.setdefault((row["block"], row["row"]), []).append(along / row["spacing_m"])
    twist = {}
    for (block, row), of_row in fractions.items():
        turns = np.exp(2j * np.pi * np.concatenate(of_row))
        report.check("rows line up in every zone", np.abs(turns - turns[0]).max() < 0.01, f"{field}, row {row}")
        twist.setdefault(block, {})[row] = turns[0]
    for of_block in twist.values():
        steps = [of_block[row + 1] / turn for row, turn in of_block.items() if row + 1 in of_block]
        if steps:
            report.check("each row is shifted against the one before as the others are",
                         np.abs(np.array(steps) - steps[0]).max() < 0.02, field)


def counted(seeds, ground, unsown, rates, own_m2, field, report):
    for name, zone in ground.items():
        inner = zone.buffer(-BORDER_M).difference(unsown)
        points = np.concatenate(seeds)
        shapely.prepare(inner)
        inside = np.count_nonzero(shapely.contains(inner, shapely.points(points)))
        wanted = rates[name] * inner.area / own_m2
        report.check("a zone has as many seeds as it asks for", abs(inside - wanted) <= 0.03 * wanted + 5,
                     f"{field}, {name}: {inside} of {wanted:.0f}")


def grid(plan, field, number, ground, rates, elsewhere, own_m2, in_place, report):
    data, files = isoxml_from_path(plan.folder / "TASKDATA")
    task = data.tasks[number]
    if not report.check("the task has a grid", len(task.grids) == 1, field):
        return
    grid = task.grids[0]
    zone = next(zone for zone in task.treatment_zones if zone.code == grid.treatment_zone_code)
    layers = [layer.process_data_ddi.hex().upper() for layer in zone.process_data_variables]
    values = to_numpy_array(files[grid.filename], grid, [DDEntity.from_id(int(layer, 16)) for layer in layers], scale=False)
    report.check("the grid's file is as long as its cells and layers", values.shape == (grid.maximum_row, grid.maximum_column, len(layers)))
    rate = values[:, :, layers.index(COUNT_PER_AREA)]
    row, column = np.mgrid[: grid.maximum_row, : grid.maximum_column]
    longitude = float(grid.minimum_east_position) + (column + 0.5) * grid.cell_east_size
    latitude = float(grid.minimum_north_position) + (row + 0.5) * grid.cell_north_size
    x, y = plan.projection(longitude.ravel(), latitude.ravel())
    middles = shapely.points(np.column_stack([x, y])).reshape(rate.shape)
    boundary = plan.region("boundary", field)
    edges = shapely.union_all([boundary.boundary] + [zone.boundary for zone in ground.values()])
    clear = shapely.distance(edges, middles) > 0.01
    inside = shapely.contains(boundary, middles) & clear
    wanted = np.full(rate.shape, np.nan if elsewhere is None else elsewhere)
    together = np.full(rate.shape, in_place.get(None, 1))
    for name, zone in ground.items():
        within = shapely.contains(zone, middles)
        wanted[within], together[within] = rates[name], in_place.get(name, 1)
    known = inside & ~np.isnan(wanted)
    off = np.abs(rate[known] - 1000 * wanted[known] / own_m2)
    report.check("the grid has the rate of each cell's zone", known.sum() > 100 and off.max() <= 0.51, f"{field}: {off.max()} off")
    if SEED_SPACING in layers:
        sown = known & (wanted > 0)
        spacing = values[:, :, layers.index(SEED_SPACING)][sown]
        product = spacing * rate[sown] / together[sown]
        report.check("count per area and spacing of the grid go together", np.ptp(product) <= 0.001 * product.mean(), np.ptp(product))
    size = np.hypot(*(plan.metres([[longitude[0, 1], latitude[1, 0]]]) - plan.metres([[longitude[0, 0], latitude[0, 0]]]))[0])
    away = shapely.distance(boundary, middles) > size / 2 + 0.01
    report.check("away from the field the grid sows nothing", not rate[away].any(), np.count_nonzero(rate[away]))
    covered = shapely.box(*(np.array(boundary.bounds) + [0.05, 0.05, -0.05, -0.05]))
    corners = plan.metres([[float(grid.minimum_east_position), float(grid.minimum_north_position)],
                           [longitude[0, -1] + grid.cell_east_size / 2, latitude[-1, 0] + grid.cell_north_size / 2]])
    reach = shapely.box(*corners.ravel()).buffer(1.0)
    report.check("the grid covers the field", shapely.covers(reach, shapely.intersection(covered, boundary)), field)


if __name__ == "__main__":
    run(check, sys.argv[1:])
