"""seeds.py FOLDER…: the seed file, read by pyarrow, DuckDB and geopandas.

As many seeds as the manifest says; each where its seed row puts it; none outside the boundary or
in a keep-out with its clearance; none twice; longitude and latitude agree with the metres; and the
spacing is perfect by the definitions of ISO 7256-1 (check C13): no multiples, no misses, a quality
of feed index of 100 %, a precision of 0 along every run of every row.
"""

import sys

import duckdb
import geopandas
import numpy as np
import pyarrow.parquet as parquet
import scipy.spatial
import shapely
from emitted import Emitted, run


def check(folder, report):
    plan = Emitted(folder)
    path = plan.folder / "seeds.parquet"
    table = parquet.read_table(path)
    seeds = {name: table[name].to_numpy() for name in table.column_names if name != "geometry"}
    report.check("a row for each seed", table.num_rows == plan.figures["seeds"], table.num_rows)
    report.check("there are seeds", table.num_rows > 0)
    places(plan, seeds, report)
    spacing(plan, seeds, report)
    deviations(plan, seeds, report)
    through_duckdb(path, report, table.num_rows)
    through_geopandas(plan, path, seeds, report)


def places(plan, seeds, report):
    x, y = plan.projection(seeds["longitude"], seeds["latitude"])
    off = np.hypot(x - seeds["x"], y - seeds["y"]).max()
    report.check("degrees and metres are the same place, within 0.2 mm", off < 0.0002, f"{off * 1000:.3f} mm")
    spots = shapely.points(seeds["x"], seeds["y"])
    for field in plan.fields():
        of_field = seeds["field"] == field
        boundary = plan.region("boundary", field)
        shapely.prepare(boundary)
        outside = np.count_nonzero(~shapely.covers(boundary, spots[of_field]))
        report.check("no seed outside the field", outside == 0, f"{field}: {outside}")
        for keep_out in plan.of("keep-out", field):
            near = keep_out.ground.buffer(keep_out.properties["clearance_m"] - 0.0005)
            shapely.prepare(near)
            inside = np.count_nonzero(shapely.contains(near, spots[of_field]))
            report.check("no seed in a keep-out or its clearance", inside == 0, f"{keep_out.properties['name']}: {inside}")
    names, number = np.unique(seeds["field"].astype(str), return_inverse=True)
    keys = np.column_stack([number, seeds["block"], seeds["row"], seeds["index"], seeds["member"]])
    twice = len(keys) - len(np.unique(keys, axis=0))
    report.check("no lattice place twice", twice == 0, f"{twice} of {len(keys)} in {len(names)} fields")


def spacing(plan, seeds, report):
    """ISO 7256-1: of the distances x between neighbours, with the wanted distance r, x <= 0.5 r is
    a multiple, x > 1.5 r a miss, and the precision is the coefficient of variation of the rest."""
    order = np.lexsort(
        (seeds["member"], seeds["index"], seeds["row"], seeds["block"], seeds["field"].astype(str)))
    sorted_ = {name: column[order] for name, column in seeds.items()}
    # A hill counts as one, at its middle.
    first = np.flatnonzero(sorted_["member"] == 0)
    size = np.diff(np.append(first, len(order)))
    x, y = (np.add.reduceat(sorted_[name], first) / size for name in ("x", "y"))
    sorted_ = {name: column[first] for name, column in sorted_.items()}
    wanted = {}
    for row in plan.seed_rows:
        said = row.properties
        wanted[row.field, said["block"], said["row"], said["lane"], said["first"]] = said
    # A run begins where a seed row does, and its indices rise by its step.
    keys = list(zip(*(sorted_[name].tolist() for name in ("field", "block", "row", "lane", "index"))))
    begins = np.array([at for at, key in enumerate(keys) if key in wanted])
    runs = [wanted[keys[at]] for at in begins]
    report.check("every seed row begins with a seed", len(runs) == len(wanted), f"{len(runs)} of {len(wanted)}")
    lengths = np.diff(np.append(begins, len(first)))
    report.check("runs are as long as their rows say",
                 begins[0] == 0 and [run["count"] for run in runs] == lengths.tolist())
    same = np.ones(len(first) - 1, dtype=bool)
    same[begins[1:] - 1] = False
    steps = np.repeat([run.get("step", 1) for run in runs], lengths)[1:]
    report.check("along a run indices rise by its step", np.array_equal(np.diff(sorted_["index"])[same], steps[same]))
    hills = np.repeat([run.get("hill_seeds", 1) for run in runs], lengths)
    report.check("hills have as many seeds as their rows say", np.array_equal(hills, size))
    step = np.hypot(np.diff(x), np.diff(y))[same]
    reference = np.repeat([run["spacing_m"] for run in runs], lengths)[1:][same]
    ratio = step / reference
    multiples, misses = np.count_nonzero(ratio <= 0.5), np.count_nonzero(ratio > 1.5)
    report.check("C13: no multiples", multiples == 0, multiples)
    report.check("C13: no misses", misses == 0, misses)
    report.check("C13: quality of feed 100 %", len(ratio) > 0 and np.count_nonzero((ratio > 0.5) & (ratio <= 1.5)) == len(ratio))
    # Between neighbours on a curve lies a chord: with rows of 1 m radius and more, seeds 20 cm
    # apart are 0.2 % nearer in a straight line than along the row.
    # Metres in the file are rounded to some micrometres.
    report.check("C13: precision 0 along straight rows", np.median(np.abs(ratio - 1)) < 1e-4, np.median(np.abs(ratio - 1)))
    report.check("C13: precision below 0.5 % everywhere", np.std(ratio) < 0.005, np.std(ratio))
    neighbours(sorted_, x, y, runs, report)


def neighbours(places, x, y, runs, report):
    """A lattice is alike everywhere (checks D1 to D4): within a straight block of one spacing no place
    has a nearer neighbour than the others have, and none has a farther one than in its own row. Up to
    2 million places, by a k-d tree."""
    if len({run["spacing_m"] for run in runs}) > 1:
        return
    block = (places["field"] == places["field"][0]) & (places["block"] == 0)
    points = np.column_stack([x[block], y[block]])[:2_000_000]
    nearest = scipy.spatial.cKDTree(points).query(points, k=2)[0][:, 1]
    usual, spacing = np.median(nearest), runs[0]["spacing_m"]
    report.check("no place has a nearer neighbour than the lattice gives", nearest.min() > 0.999 * usual,
                 f"{nearest.min():.5f} m, usually {usual:.5f} m")
    report.check("the nearest neighbour is no farther than along the row", usual < 1.0001 * spacing,
                 f"{usual:.5f} m of {spacing} m")


def deviations(plan, seeds, report):
    """A plant is never placed better than its receiver's 8 mm, and both seed files say the same."""
    of_row = {}
    for row in plan.seed_rows:
        said = row.properties
        of_row.setdefault((row.field, said["lane"]), set()).add((said["sigma_along_m"], said["sigma_across_m"]))
    for name in ("sigma_along", "sigma_across"):
        least = seeds[name].min()
        report.check("deviations are above those of the receiver", least > 0.008, f"{name} {least}")
    step = slice(None, None, max(1, len(seeds["x"]) // 5000))
    pairs = zip(seeds["field"][step], seeds["lane"][step], seeds["sigma_along"][step], seeds["sigma_across"][step])
    strange = sum((round(float(a), 4), round(float(b), 4)) not in of_row[field, lane] for field, lane, a, b in pairs)
    report.check("deviations of seeds are those of their rows", strange == 0, strange)


def through_duckdb(path, report, rows):
    counted, near = duckdb.sql(
        f"select count(*), count(*) filter (sigma_along between 0.008 and 1) from read_parquet('{path}')").fetchall()[0]
    report.check("DuckDB reads it as is", counted == rows and near == rows, f"{counted} and {near} of {rows}")


def through_geopandas(plan, path, seeds, report):
    frame = geopandas.read_parquet(path, columns=["x", "y", "geometry"])
    report.check("geopandas reads it as is", len(frame) == plan.figures["seeds"] and frame.crs is not None, frame.crs)
    geometry = frame.geometry
    if frame.crs.is_projected:
        off = np.hypot(geometry.x.to_numpy() - seeds["x"], geometry.y.to_numpy() - seeds["y"]).max()
    else:
        off = np.hypot(geometry.x.to_numpy() - seeds["longitude"], geometry.y.to_numpy() - seeds["latitude"]).max()
    report.check("its points are the seeds", off < 1e-6, off)
    # The reference system in the file is the one that the manifest names.
    step = frame.iloc[:: max(1, len(frame) // 1000)]
    degrees = step.to_crs(frame.crs.geodetic_crs if frame.crs.is_projected else frame.crs).geometry
    x, y = plan.projection(degrees.x.to_numpy(), degrees.y.to_numpy())
    off = np.hypot(x - step["x"].to_numpy(), y - step["y"].to_numpy()).max()
    report.check("its reference system is the field frame's", off < 0.001, f"{off} m")


if __name__ == "__main__":
    run(check, sys.argv[1:])
