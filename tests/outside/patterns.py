"""patterns.py PROGRAM: sowing patterns that no demo job has, compiled by the program and judged from what
it leaves behind: drilled rows, squares, tool rows of their own, tramlines, unsown row ends, blocks of
their own rate or pattern, and treatment zones together with each of them. Every seed file passes the checks of
seeds.py, every plan those of plan.py, and every field with zones those of zones.py.
"""

import itertools
import json
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import plan
import pyarrow.parquet as parquet
import scipy.spatial
import seeds
import shapely
import zones
from emitted import Emitted, Report

DEMO = Path(__file__).resolve().parents[2] / "demo-jobs"
ROWS = 6


def compiled(program, temporary, name, spacing, zoned):
    """The folder of the zones' demo job with another lattice, with or without its zones."""
    text = (DEMO / "warren-piece.toml").read_text("utf-8")
    head, rest = text.split("[field.spacing]\n")
    _, zone_table = rest.split("\n# The attribute")
    zone_table = re.sub(r"^.*?\n\[field.zones\]", "[field.zones]", zone_table, flags=re.S)
    body = "".join(f"{line}\n" for line in ['between_rows = "45 cm"', *spacing])
    job = Path(temporary) / f"{name}.toml"
    job.write_text(f"{head}[field.spacing]\n{body}\n{zone_table if zoned else ''}", "utf-8")
    done = subprocess.run([program, "compile", str(job), "--seeds", "-o", str(Path(temporary) / "out")],
                          capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise RuntimeError(done.stderr[-600:])
    return Path(temporary) / "out" / name


def points(folder):
    table = parquet.read_table(folder / "seeds.parquet", columns=["block", "row", "lane", "x", "y"])
    return {name: table[name].to_numpy() for name in table.column_names}


def main_block(emitted):
    return next(f.properties for f in emitted.of("block") if f.properties.get("heading_deg") is not None)


def drill(emitted, folder, report):
    rows = [f.properties for f in emitted.seed_rows]
    report.check("drilled rows say so", {row["pattern"] for row in rows} == {"drill"})
    report.check("a drilled seed is as uncertain as its distance", all(row["sigma_along_m"] > row["spacing_m"] for row in rows))
    task = (folder / "TASKDATA" / "TASKDATA.XML").read_text("utf-8")
    report.check("the task of drilled rows sets no spacing", 'A="0010"' not in task)


def square(emitted, folder, report):
    """In the middle of the main block each seed has four neighbours as far along as across, at right angles."""
    of = points(folder)
    inside = of["block"] == main_block(emitted)["block"]
    all_ = np.column_stack([of["x"][inside], of["y"][inside]])
    tree = scipy.spatial.cKDTree(all_)
    middle = all_[np.hypot(*(all_ - all_.mean(axis=0)).T) < 15]
    nearest = tree.query(middle, k=6)[0][:, 1:]
    report.check("there are seeds in the middle", len(middle) > 1000, len(middle))
    report.check("four neighbours at the row's distance", np.abs(nearest[:, :4] - 0.45).max() < 1e-4, nearest[:, :4].max())
    report.check("the next ones across the corner", np.abs(nearest[:, 4] - 0.45 * np.sqrt(2)).max() < 1e-4)


def tool_row(emitted, folder, report):
    offsets = emitted.machine["row_offsets_m"]
    outer = {}
    for lane in emitted.of("lane"):
        for piece in lane.properties["rows"]:
            outer[lane.properties["order"], piece["row"]] = abs(abs(piece["offset_m"]) - max(offsets)) < 1e-6
    rows = [f.properties for f in emitted.seed_rows]
    own = {0.24 if outer[row["lane"], row["row"]] else 0.12 for row in rows}
    report.check("both spacings occur", own == {0.24, 0.12}, own)
    wrong = [row for row in rows if abs(row["spacing_m"] - (0.24 if outer[row["lane"], row["row"]] else 0.12)) > 1e-9]
    report.check("the outer tool rows, and they alone, are sown at their own distance", not wrong, len(wrong))


def tramlines(emitted, folder, report):
    """Rows 2 and 5 of every second lane from the first on, over the main block."""
    block = main_block(emitted)["block"]
    of = points(folder)
    sown = set(of["row"][of["block"] == block].tolist())
    lane = lambda row: row // ROWS
    held = lambda row: lane(row) % 2 == 0 and row % ROWS in (1, 4)
    most = range(min(sown), max(sown) + 1)
    report.check("tramlines stay unsown", not any(held(row) for row in sown), sorted(filter(held, sown))[:5])
    missing = [row for row in most if row not in sown and not held(row)]
    report.check("all other rows are sown", not missing, missing[:5])
    worked = {piece["row"] for f in emitted.of("lane") if f.properties["block"] == block for piece in f.properties["rows"]}
    report.check("lanes work no tramline", not any(map(held, worked)))
    area = sum(f.properties["area_m2"] for f in emitted.of("left-over") if f.properties["reason"] == "unsown")
    length = np.mean([f.ground.length for f in emitted.seed_rows if f.properties["block"] == block and f.ground.length > 10])
    count = sum(1 for row in most if held(row))
    report.close("their soil is left over", area, count * length * 0.45, 0.05 * area + 1)


def row_ends(emitted, folder, report):
    """Each straight row begins and ends half a metre within the block, or less than a spacing more."""
    block = main_block(emitted)
    ground = next(f.ground for f in emitted.of("block") if f.properties["block"] == block["block"])
    rows = [f for f in emitted.seed_rows if f.properties["block"] == block["block"]]
    gaps = []
    for row in rows:
        line = row.ground
        if line.length < 20:
            continue
        (x0, y0), (x1, y1) = line.coords[0], line.coords[-1]
        ahead = np.array([x1 - x0, y1 - y0]) / line.length
        long = shapely.LineString([np.array([x0, y0]) - 30 * ahead, np.array([x1, y1]) + 30 * ahead])
        whole = long.intersection(ground)
        if whole.geom_type != "LineString":
            continue
        gaps += [shapely.Point(whole.coords[0]).distance(shapely.Point(x0, y0)),
                 shapely.Point(whole.coords[-1]).distance(shapely.Point(x1, y1))]
    report.check("there are rows from edge to edge", len(gaps) > 20, len(gaps))
    report.check("row ends stay unsown", min(gaps) > 0.5 - 0.01, min(gaps))
    # A row ends where its whole width is inside: on a slanted edge a little before its middle leaves.
    report.check("and no more than that", np.median(gaps) < 0.5 + 0.12 + 0.1, np.median(gaps))


def blocks(emitted, folder, report):
    """The eastern block has three fifths of the field's seeds, all else as many as the spacing says."""
    zone = emitted.of("zone")
    report.check("the block is a zone", [f.properties["name"] for f in zone] == ["block 1"])
    ground = zone[0].ground
    rows = [f for f in emitted.seed_rows]
    inside = [f for f in rows if f.properties.get("zone") == "block 1"]
    report.check("its rows and no others lie in it", all(
        (ground.buffer(1e-3).covers(f.ground)) == (f.properties.get("zone") == "block 1") for f in rows))
    report.check("its seeds stand at its own distance", {f.properties["spacing_m"] for f in inside} == {0.2})
    others = {f.properties["spacing_m"] for f in rows if "zone" not in f.properties}
    report.check("all others at the field's", others == {0.12}, others)
    seeds_m2 = sum(f.properties["count"] for f in inside) / ground.area
    report.close("the block has as many seeds as it asks for", seeds_m2, 0.6 / (0.45 * 0.12), 0.02 * seeds_m2)
    task = (folder / "TASKDATA" / "TASKDATA.XML").read_text("utf-8")
    report.check("the task has a grid of rates", task.count("<GRD ") == 1)


def block_of(emitted, pattern, spacing_m, seeds_m2, report):
    """The rows of the block with its own pattern; in it, and in it alone, are they sown so."""
    zone = emitted.of("zone")[0]
    rows = [f.properties for f in emitted.seed_rows]
    inside = [row for row in rows if row.get("zone") == "block 1"]
    report.check("the block has its pattern, and nothing else has", all(
        (row["pattern"] == pattern) == (row.get("zone") == "block 1") for row in rows))
    report.close("its places are so far apart", max(abs(row["spacing_m"] - spacing_m) for row in inside), 0, 1e-9)
    found = sum(row["count"] * row.get("hill_seeds", 1) for row in inside) / zone.ground.area
    report.close("it has so many seeds", found, seeds_m2, 0.02 * seeds_m2)
    return inside


def block_of_hills(emitted, folder, report):
    """Half as many seeds as elsewhere, three together within 5 cm: 72 cm from hill to hill."""
    inside = block_of(emitted, "hill", 0.72, 3 / (0.45 * 0.72), report)
    report.check("its hills say so", {(row["hill_seeds"], row["hill_length_m"]) for row in inside} == {(3, 0.05)})
    task = (folder / "TASKDATA" / "TASKDATA.XML").read_text("utf-8")
    report.check("the task has a grid with spacings", task.count("<GRD ") == 1 and 'A="0010"' in task)


def drilled_block(emitted, folder, report):
    inside = block_of(emitted, "drill", 0.06, 1 / (0.45 * 0.06), report)
    report.check("a drilled seed is as uncertain as its distance", all(row["sigma_along_m"] > 0.06 for row in inside))
    others = [f.properties for f in emitted.seed_rows if "zone" not in f.properties]
    report.check("a single one is not", all(row["sigma_along_m"] < 0.05 for row in others))


def singled_block(emitted, folder, report):
    block_of(emitted, "single", 0.1, 1 / (0.45 * 0.1), report)


def zones_of_patterns(emitted, folder, report):
    """Hills on the knoll, drilled rows in the hollow, single seeds elsewhere; where a row passes from one into
    another, no two seeds of it are nearer than the smaller clear distance of the two."""
    knoll, hollow, rest = "Gravel knoll", "Wet hollow", None
    wanted = {knoll: ("hill", 0.45, 3, 0.05), hollow: ("drill", 0.06, 1, 0.0), rest: ("single", 0.12, 1, 0.0)}
    rows = [f.properties for f in emitted.seed_rows]
    sown = {}
    for row in rows:
        how = (row["pattern"], round(row["spacing_m"], 9), row.get("hill_seeds", 1), row.get("hill_length_m", 0.0))
        sown.setdefault(row.get("zone"), set()).add(how)
    report.check("each zone has its pattern", sown == {zone: {how} for zone, how in wanted.items()}, sown)
    report.check("drilled seeds alone are as uncertain as their distance", all(
        (row["sigma_along_m"] > 0.06) == (row["pattern"] == "drill") for row in rows))
    of_row = {}
    for row, points in zip(rows, zones.runs_of_seeds(emitted, emitted.fields()[0])):
        of_row.setdefault((row["block"], row["row"]), {}).setdefault(row.get("zone"), []).append(points)
    borders = {}
    for by_zone in of_row.values():
        for one, other in itertools.combinations(by_zone, 2):
            nearest = scipy.spatial.cKDTree(np.concatenate(by_zone[one])).query(np.concatenate(by_zone[other]))[0].min()
            clear = sorted(wanted[zone][1] - wanted[zone][3] for zone in (one, other))
            report.check("no seeds of one row are nearer across a border", nearest >= 0.995 * clear[0],
                         f"{one}, {other}: {nearest:.4f} m of {clear[0]:.2f}")
            if nearest < 2 * clear[1]:
                borders.setdefault(frozenset((one, other)), []).append(nearest)
    report.check("rows pass between all of them", min(map(len, borders.values())) > 20 and len(borders) >= 2,
                 {tuple(map(str, pair)): len(found) for pair, found in borders.items()})
    task = (folder / "TASKDATA" / "TASKDATA.XML").read_text("utf-8")
    layers = re.search(r'<TZN [^>]*"By treatment zone".*?</TZN>', task, re.S).group()
    report.check("the grid has rates and, since some seeds are drilled, no spacings", 'A="000B"' in layers and 'A="0010"' not in layers)


def with_patterns(temporary):
    """The zones of the demo job with a pattern each."""
    zones_file = Path(temporary) / "fields" / "warren-piece-zones.geojson"
    drawn = json.loads(zones_file.read_text("utf-8"))
    said = {"Gravel knoll": {"rate": "80 %", "kind": "hill", "together": 3, "length": "5 cm"},
            "Wet hollow": {"rate": "200 %", "kind": "drill"}}
    for feature in drawn["features"]:
        feature["properties"] |= said.get(feature["properties"]["name"], {"kind": None})
    (zones_file.parent / "patterns.geojson").write_text(json.dumps(drawn), "utf-8")
    return ["[field.zones]", 'file = "fields/patterns.geojson"', 'rate = "rate"', 'elsewhere = "100 %"',
            'pattern = "kind"', 'seeds_per_hill = "together"', 'hill_length = "length"']


EAST = ["[[field.dividing_line]]", "points = [[48.6285, -27.4220], [48.6304, -27.4220]]",
        "[[field.block]]", "at = [48.6294, -27.4215]"]

CASES = [
    ("drill", ['between_seeds = "6 cm"', 'pattern = "drill"'], drill),
    ("square", ['stagger = "square"'], square),
    ("tool-row", ['between_seeds = "12 cm"', 'tool_row = { rows = [1, 6], between_seeds = "24 cm" }'], tool_row),
    ("tramlines", ['between_seeds = "12 cm"', "tramlines = { every = 2, first = 1, rows = [2, 5] }"], tramlines),
    ("row-ends", ['between_seeds = "12 cm"', 'row_end_margin = "50 cm"'], row_ends),
    ("blocks", ['between_seeds = "12 cm"', *EAST, 'rate = "60 %"'], blocks),
    ("block-of-hills", ['between_seeds = "12 cm"', *EAST, 'pattern = "hill"', "seeds_per_hill = 3",
                        'hill_length = "5 cm"', 'rate = "50 %"'], block_of_hills),
    ("drilled-block", ['between_seeds = "12 cm"', *EAST, 'pattern = "drill"', 'between_seeds = "6 cm"'], drilled_block),
    ("singled-block", ['between_hills = "40 cm"', 'pattern = "hill"', "seeds_per_hill = 4", 'hill_length = "6 cm"',
                       *EAST, 'pattern = "single"'], singled_block),
    ("zones-of-patterns", ['between_seeds = "12 cm"'], zones_of_patterns),
    ("hills", ['between_hills = "40 cm"', 'pattern = "hill"', "seeds_per_hill = 3", 'hill_length = "6 cm"'], None),
]

# A block with a rate or a pattern is a zone itself; and one case has zones of its own.
UNZONED = ("blocks", "block-of-hills", "drilled-block", "singled-block", "zones-of-patterns")


def main(program):
    good = True
    with tempfile.TemporaryDirectory() as temporary:
        for beside in ("machines", "crops", "fields"):
            shutil.copytree(DEMO / beside, Path(temporary) / beside)
        for name, spacing, own in CASES:
            for zoned in (False, True) if name not in UNZONED else (False,):
                case = f"{name}{'-zoned' if zoned else ''}"
                report = Report(case)
                own_zones = with_patterns(temporary) if own is zones_of_patterns else []
                try:
                    folder = compiled(program, temporary, case, spacing + own_zones, zoned)
                    seeds.check(folder, report)
                    plan.check(folder, report)
                    if (zoned and name != "tool-row") or name in UNZONED:
                        zones.check(folder, report)
                    if own and not zoned:
                        own(Emitted(folder), folder, report)
                except Exception as error:  # the rest goes on
                    report.check("is compiled and readable", False, f"{type(error).__name__}: {error}")
                good &= report.print()
    sys.exit(0 if good else 1)


if __name__ == "__main__":
    main(sys.argv[1])
