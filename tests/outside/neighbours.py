"""neighbours.py PROGRAM: two million seeds in squares and two million in hexagons, laid by the program at
one density, and the distance from each seed to its nearest neighbours found by scipy's k-d tree.

Equal squares of side d have one seed on d², equal triangles of side h one on h² √3 / 2. At one density
h / d = √(2 / √3) = 1.0746: the most that any pattern reaches (the densest packing of circles; Thue 1910,
Fejes Tóth 1943, from memory).
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pyarrow.parquet as parquet
import scipy.spatial
from emitted import Emitted, Report

DEMO = Path(__file__).resolve().parents[2] / "demo-jobs"
SEEDS = 2_000_000
ROWS = 24
SIDE_M = 0.125
"""Of the squares; a hexagon's rows are h √3 / 2 apart."""
HEX_M = SIDE_M * np.sqrt(2 / np.sqrt(3))
ROUNDING_M = 2e-6
"""Of row spacings, which the job states in micrometres, and of positions in the seed file."""
CORNERS = [(48.62900, -27.42300), (48.62900, -27.42030), (48.63080, -27.42030), (48.63080, -27.42300)]

JOB = """
machine = "machine.toml"
crop = ["{crop}"]
[order]
title = "Two million seeds"
issued = 2027-05-04
customer = "Aldermoor Growers' Cooperative"
farm = "Sallow Farm, Vale of Thrennow"
operations = ["sowing"]
hours_per_day = "12 h"
[frames]
survey = "ITRF2014@2027.3"
[[field]]
name = "Wide Piece"
corners = {corners}
fence_margin = "0.5 m"
crop = "red beet"
guidance = {{ along_edge = 2 }}
blocks = 1
headland = {{ laps = 3, sown = "no" }}
[field.spacing]
between_rows = "{rows}"
stagger = "{stagger}"
"""


def machine(rows_m):
    """The demo jobs' machine with more rows, nearer to each other, and tyres that fit between them."""
    own = {
        "rows": str(ROWS),
        "row_spacing": f'"{micrometres(rows_m)}"',
        "working_width": f'"{micrometres(rows_m * ROWS)}"',
        "wheel_tracks": f'["{micrometres(-7 * rows_m)}", "{micrometres(7 * rows_m)}"]',
        "tyre_width": '"6 cm"',
    }
    lines = (DEMO / "machines" / "ox-6.toml").read_text("utf-8").splitlines()
    keys = [line.split(" = ")[0] for line in lines]
    return "\n".join(f"{key} = {own[key]}" if key in own else line for key, line in zip(keys, lines))


def micrometres(metres):
    return f"{round(metres * 1e6) / 1e3:.3f} mm"


def sown(program, temporary, stagger, rows_m):
    """Every seed, in metres, and which of them lie a metre or more inside the block."""
    (Path(temporary) / "machine.toml").write_text(machine(round(rows_m * 1e6) / 1e6), "utf-8")
    job = Path(temporary) / f"{stagger}.toml"
    crop = str(DEMO / "crops" / "red-beet.toml")
    job.write_text(JOB.format(crop=crop, corners=[list(corner) for corner in CORNERS],
                              rows=micrometres(rows_m), stagger=stagger), "utf-8")
    done = subprocess.run([program, "compile", str(job), "--seeds", "-o", temporary],
                          capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise RuntimeError(done.stderr[-600:])
    folder = Path(temporary) / stagger
    table = parquet.read_table(folder / "seeds.parquet", columns=["x", "y"])
    seeds = np.column_stack([table["x"].to_numpy(), table["y"].to_numpy()])
    block = next(f for f in Emitted(folder).of("block") if f.properties.get("heading_deg") is not None)
    west, south, east, north = block.ground.buffer(-3).minimum_rotated_rectangle.bounds
    inside = (seeds[:, 0] > west) & (seeds[:, 0] < east) & (seeds[:, 1] > south) & (seeds[:, 1] < north)
    return seeds, inside


def check(program, stagger, rows_m, apart_m, neighbours, report):
    """In the middle each seed has so many neighbours, all at this distance; nowhere is one nearer."""
    with tempfile.TemporaryDirectory() as temporary:
        seeds, inside = sown(program, temporary, stagger, rows_m)
    report.check("there are two million seeds", len(seeds) >= SEEDS, len(seeds))
    report.check("most of them lie inside", inside.mean() > 0.8, inside.mean())
    tree = scipy.spatial.cKDTree(seeds, balanced_tree=False, compact_nodes=False)
    nearest = tree.query(seeds, k=2, workers=-1)[0][:, 1]
    report.check("no seed has a nearer neighbour", nearest.min() > apart_m - ROUNDING_M, nearest.min())
    report.check("every seed inside has one at the pattern's distance",
                 np.abs(nearest[inside] - apart_m).max() < ROUNDING_M, np.abs(nearest[inside] - apart_m).max())
    some = np.flatnonzero(inside)[::50]
    around = tree.query(seeds[some], k=neighbours + 2, workers=-1)[0][:, 1:]
    report.check(f"{neighbours} neighbours are as near", np.abs(around[:, :neighbours] - apart_m).max() < ROUNDING_M,
                 np.abs(around[:, :neighbours] - apart_m).max())
    report.check("the next is farther", around[:, neighbours].min() > 1.4 * apart_m, around[:, neighbours].min())
    return np.median(nearest[inside]), inside.sum() / np.prod(np.ptp(seeds[inside], axis=0))


def main(program):
    good, found = True, {}
    for stagger, rows_m, apart_m, neighbours in (("square", SIDE_M, SIDE_M, 4), ("hex", HEX_M * np.sqrt(3) / 2, HEX_M, 6)):
        report = Report(stagger)
        try:
            found[stagger] = check(program, stagger, rows_m, apart_m, neighbours, report)
        except Exception as error:  # the other goes on
            report.check("is compiled and readable", False, f"{type(error).__name__}: {error}")
        good &= report.print()
    report = Report("square and hex")
    if len(found) == 2:
        (square_m, square_m2), (hex_m, hex_m2) = found["square"], found["hex"]
        report.close("they are equally dense", hex_m2 / square_m2, 1, 0.002)
        report.close("hexagons leave 7.457 % more room", hex_m / square_m, 1.0745699, 1e-5)
    good &= report.print()
    sys.exit(0 if good else 1)


if __name__ == "__main__":
    main(sys.argv[1])
