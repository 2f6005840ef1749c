"""weeding.py FOLDER…: the events of a weeding pass, against the plants that were sown and against chance.

The events are read by pyarrow, geopandas and DuckDB as they are. Each event lies where the lane carries
the tool; for a blade in the row, the whole motion from each way in to the next way out stays outside
every plant's clear circle, by brute force over all plants of the seed map; and the expected loss agrees
with a million plants drawn at random, within 0.2 percentage points. The clear circle is that of checks
J11 and J12: plant radius and k deviations, derived.
"""

import csv
import sys
from pathlib import Path

import duckdb
import geopandas
import numpy as np
import pyarrow.parquet as parquet
import shapely
from emitted import Emitted, run

REPOSITORY = Path(__file__).resolve().parents[2]
PLANTS = 1_000_000


def check(folder, report):
    plan = Emitted(folder)
    path = plan.folder / "weed-events.parquet"
    table = parquet.read_table(path)
    events = {name: table[name].to_numpy(zero_copy_only=False) for name in table.column_names if name != "geometry"}
    report.check("there are events", table.num_rows > 0)
    frame = geopandas.read_parquet(path)
    report.check("geopandas reads it as is", len(frame) == table.num_rows and frame.crs is not None, frame.crs)
    counted = duckdb.sql(f"SELECT event, count(*) FROM '{path}' GROUP BY event ORDER BY event").fetchall()
    report.check("DuckDB reads it as is, and each way in has its way out",
                 [name for name, _ in counted] == ["in", "out"] and counted[0][1] == counted[1][1], counted)
    x, y = plan.projection(events["longitude"], events["latitude"])
    off = np.hypot(x - events["x"], y - events["y"]).max()
    report.check("degrees and metres are the same place, within 0.2 mm", off < 0.0002, off)
    under_the_tool(plan, events, report)
    sown = sown_folder(plan)
    report.check("the sown folder lies beside the jobs", sown.exists(), sown)
    for weeding in plan.manifest["weeding"]:
        loss(weeding, Emitted(sown).manifest, report)
        if weeding["blade"]:
            outside_circles(weeding, events, sown, missing(plan), report)


def sown_folder(plan):
    rows = next(entry["path"] for entry in plan.manifest["inputs"] if entry["path"].endswith("seed-rows.geojson"))
    return (REPOSITORY / rows).parent


def missing(plan):
    """Places that were not sown: the blade may work there."""
    tables = [REPOSITORY / entry["path"] for entry in plan.manifest["inputs"] if entry["path"].endswith(".csv")]
    return {(line["field"], *(int(line[key]) for key in ("block", "row", "index")))
            for table in tables for line in csv.DictReader(table.open(encoding="utf-8"))}


def under_the_tool(plan, events, report):
    """The tool is `tool_x` ahead of the reference point, which has come `distance` along its lane."""
    tool_x = plan.machine["tool_x_m"]
    worst = {False: 0.0, True: 0.0}
    for lane in plan.of("lane"):
        said = lane.properties
        mine = (events["lane"] == said["order"]) & (events["field"].astype(str) == lane.field)
        for piece in said["rows"]:
            of_row = np.flatnonzero(mine & (events["row"] == piece["row"]))[:400]
            for at in of_row:
                distance = events["distance"][at]
                if not piece["from_m"] - 0.01 <= distance <= piece["to_m"] + 0.01:
                    continue
                place, ahead = on_lane(said, distance)
                tool = place + tool_x * ahead + piece["offset_m"] * np.array([ahead[1], -ahead[0]])
                off = np.hypot(*(tool - [events["x"][at], events["y"][at]]))
                worst[said["lap"]] = max(worst[said["lap"]], off)
    # The seed map holds curved rows to a tenth of a millimetre at their vertices.
    report.check("the lane carries the tool to each event, straight lanes", worst[False] < 0.0005, worst[False])
    report.check("the lane carries the tool to each event, headland laps", worst[True] < 0.002, worst[True])


def on_lane(lane, distance):
    """Place and direction after so many metres of the lane's pieces, by small steps."""
    place = np.array(lane["start_m"])
    angle = np.radians(90 - lane["heading_deg"])
    left = distance
    for length, begin, end in lane["pieces"]:
        part = min(left, length)
        steps = 1 if begin == end == 0 else max(1, int(part / 0.02))
        for step in range(steps):
            along = part * (step + 0.5) / steps
            curvature = begin + (end - begin) * (along / length if length else 0)
            turn = curvature * part / steps
            place = place + part / steps * np.array([np.cos(angle + turn / 2), np.sin(angle + turn / 2)])
            angle += turn
        left -= part
        if left <= 0:
            break
    return place, np.array([np.cos(angle), np.sin(angle)])


def outside_circles(weeding, events, sown, missing, report):
    field, blade, clear = weeding["field"], weeding["blade"], weeding["clear_m"]
    plants, spacing = plants_of(Emitted(sown), field, missing)
    of_field = events["field"].astype(str) == field
    enter = np.flatnonzero(of_field & (events["event"].astype(str) == "in"))
    leave = enter + 1
    report.check("a way out follows each way in", np.all(events["event"].astype(str)[leave] == "out"))
    same = (events["lane"][enter] == events["lane"][leave]) & (events["row"][enter] == events["row"][leave])
    report.check("both in one row of one lane", same.all(), np.count_nonzero(~same))
    begin = np.column_stack([events["x"][enter], events["y"][enter]])
    end = np.column_stack([events["x"][leave], events["y"][leave]])
    driven = np.hypot(*(end - begin).T)
    ahead = (end - begin) / driven[:, None]
    rear = begin - ahead * blade["width_m"] / 2
    front = end + ahead * (blade["width_m"] / 2 + blade["out_m"])
    report.check("the blade is in before it turns back", (driven >= blade["in_m"] - 1e-4).all(), driven.min())
    swept = shapely.buffer(shapely.linestrings(np.stack([rear, front], axis=1)), blade["row_band_m"] / 2, cap_style="flat")
    tree = shapely.STRtree(swept)
    # Where a row hardly bends its chord leaves it by a millimetre or two.
    near = tree.query(shapely.points(plants), predicate="dwithin", distance=clear - 0.003)
    report.check("no blade in the clear circle of any plant", near.shape[1] == 0,
                 f"{near.shape[1]} of {len(plants)} plants, {len(enter)} windows")
    window = spacing - 2 * clear
    longest = np.hypot(*(front - rear).T)
    single = driven < spacing
    report.check("J12: the motion fits into the window", (longest[single] <= window + 2e-4).all(), longest[single].max())
    # On a curve a chord is shorter than the row between its ends.
    report.check("and fills it", (longest[single] >= window - 5e-3).all(), longest[single].min())


def plants_of(sown, field, missing):
    places = []
    for row in sown.seed_rows:
        if row.field == field:
            said = row.properties
            steps = np.arange(said["count"]) * said["spacing_m"]
            points = shapely.line_interpolate_point(row.ground, steps) if said["count"] > 1 else [shapely.Point(row.ground.coords[0])]
            there = [(field, said["block"], said["row"], said["first"] + at) not in missing for at in range(said["count"])]
            places.append(shapely.get_coordinates(points)[there])
            spacing = said["spacing_m"]
    return np.concatenate(places), spacing


def loss(weeding, sown, report):
    """Plants drawn at random about their places; every tool row has the same share of them here."""
    chance = np.random.default_rng(20270602)
    sigma = np.array(weeding["sigma_m"])
    row = chance.integers(len(sigma), size=PLANTS)
    along = chance.normal(0, sigma[row, 0])
    across = chance.normal(0, sigma[row, 1])
    crop = next(f["crop"] for f in sown["fields"] if f["name"] == weeding["field"])
    if weeding["blade"]:
        blade, clear = weeding["blade"], weeding["clear_m"]
        share = across / blade["row_band_m"] + 0.5
        inside = (share >= 0) & (share <= 1)
        behind = along > clear + share * blade["in_m"]
        before = -along > clear + share * blade["out_m"]
        hit = inside & (behind | before)
    elif weeding["clear_m"] > 0:
        edge = (crop["row_spacing_m"] - weeding["between_rows_m"]) / 2
        hit = np.abs(across) > edge
    else:
        report.check("tools over the seed stay above it", weeding["depth_m"] < crop["depth_m"] and weeding["loss"] == 0)
        return
    report.close("the expected loss is that of a million plants", weeding["loss"], hit.mean(), 0.002, weeding["field"])


if __name__ == "__main__":
    run(check, sys.argv[1:])
