"""faults.py FOLDER: do the readers beside this file notice when something is wrong?

In: an emitted folder that they all pass, with a keep-out in it. For each fault, one file of a copy is
changed a little, as a slip in the compiler would, and the check that is meant for it must fail. A
check that lets its fault pass is of no use, so that fails here.
"""

import json
import re
import shutil
import sys
import tempfile
from pathlib import Path

import fence
import formats
import plan
import pyarrow as arrow
import pyarrow.parquet as parquet
import seeds
import task_data_isoxml
import task_data_schema
from emitted import Report

CENTIMETRE_DEG = 1e-7 * 0.9


def main(folder):
    missed = 0
    for what, checker, meant, change in FAULTS:
        with tempfile.TemporaryDirectory() as temporary:
            copy = Path(temporary) / Path(folder).name
            shutil.copytree(folder, copy)
            change(copy)
            report = Report(copy)
            try:
                checker(copy, report)
            except Exception as error:  # a reader that breaks has noticed, too
                report.check("is readable", False, error)
            noticed = meant in report.failures
            missed += not noticed
            print(f"{'ok' if noticed else 'FAIL'} {Path(folder).name}, with {what}: {meant}")
    sys.exit(1 if missed else 0)


def edit(name, change):
    """Changes a JSON file."""

    def apply(folder):
        path = folder / name
        value = json.loads(path.read_text("utf-8"))
        change(value)
        path.write_text(json.dumps(value), "utf-8")

    return apply


def features(kind, change):
    """Changes the middlemost feature of a kind."""

    def apply(collection):
        found = [f for f in collection["features"] if f["properties"].get("kind") == kind]
        change(found[len(found) // 2])

    return edit("plan.geojson", apply)


def without(kind):
    def apply(collection):
        found = [f for f in collection["features"] if f["properties"].get("kind") == kind]
        collection["features"].remove(max(found, key=lambda f: f["properties"].get("area_m2", 0)))

    return edit("plan.geojson", apply)


def text(pattern, replacement):
    """Changes the first place in TASKDATA.XML where the pattern occurs."""

    def apply(folder):
        path = folder / "TASKDATA" / "TASKDATA.XML"
        before = path.read_text("utf-8")
        after = re.sub(pattern, replacement, before, count=1)
        assert after != before, f"nothing like {pattern}"
        path.write_text(after, "utf-8")

    return apply


def shifted(metres):
    """Moves a line eastwards, all but its ends."""

    def apply(feature):
        line = feature["geometry"]["coordinates"]
        for position in line[1:-1]:
            position[0] += metres * 100 * CENTIMETRE_DEG

    return apply


def outline(feature):
    rings = feature["geometry"]["coordinates"]
    while isinstance(rings[0][0][0], list):
        rings = rings[0]
    return rings[0]


def smaller(feature):
    """Draws the exterior in by a two-hundredth of its extent."""
    ring = outline(feature)
    middle = [sum(p[i] for p in ring) / len(ring) for i in (0, 1)]
    for position in ring:
        position[:] = [m + (p - m) * 0.995 for p, m in zip(position, middle)]


def seed_row(change):
    def apply(collection):
        change(max(collection["features"], key=lambda f: f["properties"]["count"]))

    return edit("seed-rows.geojson", apply)


def seed_table(change):
    def apply(folder):
        path = folder / "seeds.parquet"
        table = parquet.read_table(path)
        columns = {name: table[name].to_pylist() for name in table.column_names}
        change(columns)
        parquet.write_table(arrow.table(columns, schema=table.schema), path)

    return apply


def set_to(key, value):
    return lambda feature: feature["properties"].__setitem__(key, value)


def grow(key, by):
    return lambda feature: feature["properties"].__setitem__(key, feature["properties"][key] + by)


def figure(key, by):
    return edit("manifest.json", lambda m: m["figures"].__setitem__(key, m["figures"][key] + by))


def east(feature):
    for position in feature["geometry"]["coordinates"]:
        position[0] += 0.5 * CENTIMETRE_DEG


def end_of(feature):
    feature["geometry"]["coordinates"][-1][0] += 0.2 * CENTIMETRE_DEG


def move_seed(columns):
    columns["x"][100] += 0.05


def sow_twice(columns):
    for column in columns.values():
        column.append(column[100])


def other_byte(folder):
    path = folder / "summary.md"
    path.write_bytes(path.read_bytes() + b"\n")


FAULTS = [
    ("a smaller fence", fence.check, "body and antennas stay inside the fence", features("fence", smaller)),
    ("a bent turn", fence.check, "ways have no kink", features("turn", shifted(0.05))),
    ("an unknown kind", plan.check, "every kind is one of the contract", features("turn", set_to("kind", "swing"))),
    ("a lane left out", plan.check, "lane orders are 1 to n", without("lane")),
    ("an order given twice", plan.check, "lane orders are 1 to n", features("lane", set_to("order", 1))),
    ("a gap of 2 mm", plan.check, "each line ends where the next begins", features("lane", end_of)),
    ("a lane 2 % longer", plan.check, "lines are as long as they say", features("lane", lambda f: set_to("length_m", f["properties"]["length_m"] * 1.02)(f))),
    ("a heading off by a degree", plan.check, "headings are those of the lines", features("lane", grow("heading_deg", 1.0))),
    ("a clearance of 10 cm more", plan.check, "the fence keeps its clearance from keep-outs", features("keep-out", grow("clearance_m", 0.1))),
    ("a left-over piece unlisted", plan.check, "left-over features add up", without("left-over")),
    ("2 m² worked from nothing", plan.check, "worked + headland + keep-out + left-over = field", figure("worked_m2", 2.0)),
    ("a seed too many", plan.check, "seed rows hold as many seeds as said", figure("seeds", 1)),
    ("a seed row 5 mm beside", plan.check, "seed rows lie under the tool rows of their lane", seed_row(east)),
    ("a wrong seed spacing", plan.check, "seeds are their spacing apart along the line", seed_row(lambda f: set_to("spacing_m", f["properties"]["spacing_m"] * 1.01)(f))),
    ("a changed file", formats.check, "digests are those of the files", other_byte),
    ("an unknown figure", formats.check, "the manifest is as its schema says", edit("manifest.json", lambda m: m.pop("figures"))),
    ("a seed 5 cm off", seeds.check, "degrees and metres are the same place, within 0.2 mm", seed_table(move_seed)),
    ("a seed sown twice", seeds.check, "no lattice place twice", seed_table(sow_twice)),
    ("a rate 1 % higher", task_data_isoxml.check, "the count per area is the lattice's",
     lambda folder: text(r'A="000B" B="([1-9]\d+)"', lambda m: f'A="000B" B="{int(m[1]) + int(m[1]) // 100 + 1}"')(folder)),
    ("seed where there is no position", task_data_isoxml.check, "without a position nothing is sown", text(r'A="000B" B="0"', 'A="000B" B="5000"')),
    ("a boundary corner 1 m off", task_data_isoxml.check, "the same polygons: boundary",
     text(r'(<PNT A="2" C="-?\d+\.\d{4})\d', lambda m: m[1] + "9" if not m[0].endswith("9") else m[1] + "0")),
    ("an unknown attribute", task_data_schema.carried, "valid by the schemas of isoxml-writer", text(r"<FRM ", '<FRM Z="1" ')),
]


if __name__ == "__main__":
    main(sys.argv[1])
