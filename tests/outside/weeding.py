"""weeding.py FOLDER…: the events of a weeding pass, against the plants that were sown and against chance.

The events are read by pyarrow, geopandas and DuckDB as they are. Each event lies where the lane carries
the tool; for a blade in the row, the whole motion from each way in to the next way out stays outside
every plant's clear circle, by brute force over all plants of the seed map, found by a k-d tree and
measured exactly from the swept trapezoid; the shares of the surface are those of the swept areas; and the
expected loss agrees with a million plants drawn at random, within 0.2 percentage points. The clear circle
is that of checks J11 and J12: plant radius and k deviations, derived.
"""

import csv
import sys
from pathlib import Path

import duckdb
import geopandas
import numpy as np
import pyarrow.parquet as parquet
import scipy.spatial
import shapely
from emitted import Emitted, run
from motion import driven_along

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
        loss(weeding, Emitted(sown), report)
        if not weeding["blade"] and weeding["clear_m"] > 0:
            beside_other_blocks(weeding, plan, events, Emitted(sown), report)
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
        said, driven = lane.properties, driven_along(lane)
        mine = (events["lane"] == said["order"]) & (events["field"].astype(str) == lane.field)
        for piece in said["rows"]:
            of_row = np.flatnonzero(mine & (events["row"] == piece["row"]))[:100]
            distance = np.asarray(events["distance"])[of_row]
            worked = (piece["from_m"] - 0.01 <= distance) & (distance <= piece["to_m"] + 0.01)
            of_row, distance = of_row[worked], distance[worked]
            if len(of_row) == 0:
                continue
            place, angle = driven.at(distance)
            ahead = np.column_stack([np.cos(angle), np.sin(angle)])
            right = np.column_stack([np.sin(angle), -np.cos(angle)])
            tool = place + tool_x * ahead + piece["offset_m"] * right
            there = np.column_stack([np.asarray(events["x"])[of_row], np.asarray(events["y"])[of_row]])
            worst[said["lap"]] = max(worst[said["lap"]], np.hypot(*(tool - there).T).max())
    # The seed map holds curved rows to a tenth of a millimetre at their vertices.
    report.check("the lane carries the tool to each event, straight lanes", worst[False] < 0.0005, worst[False])
    report.check("the lane carries the tool to each event, headland laps", worst[True] < 0.002, worst[True])


def outside_circles(weeding, events, sown, missing, report):
    field, blade, clear = weeding["field"], weeding["blade"], weeding["clear_m"]
    plants = plants_of(Emitted(sown), field, missing)
    of_field = events["field"].astype(str) == field
    enter = np.flatnonzero(of_field & (events["event"].astype(str) == "in"))
    leave = enter + 1
    report.check("a way out follows each way in", np.all(events["event"].astype(str)[leave] == "out"))
    same = (events["lane"][enter] == events["lane"][leave]) & (events["row"][enter] == events["row"][leave])
    report.check("both in one row of one lane", same.all(), np.count_nonzero(~same))
    begin = np.column_stack([events["x"][enter], events["y"][enter]])
    end = np.column_stack([events["x"][leave], events["y"][leave]])
    driven = np.hypot(*(end - begin).T)
    report.check("the blade is in before it turns back", (driven >= blade["in_m"] - 1e-4).all(), driven.min())
    swept = Swept(begin, (end - begin) / driven[:, None], driven, blade)
    window, plant = near(swept, plants, clear)
    room = swept.distance(window, plants[plant])
    # Where a row hardly bends its chord leaves it by a millimetre or two.
    report.check("no blade in the clear circle of any plant", len(room) > 0 and room.min() >= clear - 0.003,
                 f"{np.count_nonzero(room < clear - 0.003)} of {len(room)} pairs, least {room.min():.4f} of {clear} m")
    behind, before = swept.beside(window, plants[plant])
    report.check("J12: the motion fills the window between the clear circles",
                 max(np.abs(behind - clear).max(), np.abs(before - clear).max()) <= 5e-3, (behind.max(), before.max()))
    area = swept.area().sum()
    soil = sown_area(Emitted(sown), field)
    report.close("the surface worked is the area swept", weeding["surface"], area / soil, 2e-4, field)


def beside_other_blocks(weeding, plan, events, sown, report):
    """Tools beside straight rows, half the row spacing to each side, stay out of other blocks' circles, those
    round plants of drilled rows larger by what is uncertain along them."""
    field = weeding["field"]
    sigma = np.array(weeding["sigma_m"])
    deviations = ((weeding["clear_m"] - weeding["plant_radius_m"]) / sigma[:, 1].max())
    rows = [row for row in sown.seed_rows if row.field == field]
    of_map = {}
    for row in rows:
        drilled = row.properties["pattern"] == "drill"
        of_map[drilled] = max(of_map.get(drilled, 0), row.properties["sigma_along_m"])
    of_tool = sigma[:, 0].max() ** 2 - max(of_map.values()) ** 2
    clear_of = {drilled: weeding["plant_radius_m"] + deviations * max(np.sqrt(along**2 + of_tool), sigma[:, 1].max())
                for drilled, along in of_map.items()}
    laps = [lane.properties["order"] for lane in plan.of("lane", field)
            if any(begin or end for _, begin, end in lane.properties["pieces"])]
    straight = (events["field"].astype(str) == field) & ~np.isin(events["lane"], laps)
    enter = np.flatnonzero(straight & (events["event"].astype(str) == "in"))
    begin = np.column_stack([events["x"][enter], events["y"][enter]])
    end = np.column_stack([events["x"][enter + 1], events["y"][enter + 1]])
    plants, blocks, clear = [], [], []
    for row in rows:
        own = plants_of_row(row, set())
        plants.append(own)
        blocks.append(np.full(len(own), row.properties["block"]))
        clear.append(np.full(len(own), clear_of[row.properties["pattern"] == "drill"]))
    plants, blocks, clear = np.concatenate(plants), np.concatenate(blocks), np.concatenate(clear)
    half = next(f["crop"]["row_spacing_m"] for f in sown.manifest["fields"] if f["name"] == field) / 2
    step, least = 0.25, np.inf
    for block in np.unique(events["block"][enter]):
        others, clear_of_others = plants[blocks != block], clear[blocks != block]
        if len(others) == 0:
            continue
        of_block = events["block"][enter] == block
        first, last = begin[of_block], end[of_block]
        length = np.hypot(*(last - first).T)
        ahead = (last - first) / length[:, None]
        parts = np.ceil(length / step).astype(int) + 1
        strip = np.repeat(np.arange(len(first)), parts)
        share = np.concatenate([np.linspace(0, 1, count) for count in parts])
        along_axis = first[strip] + ahead[strip] * (share * length[strip])[:, None]
        found = scipy.spatial.cKDTree(others).query_ball_point(along_axis, np.hypot(half + clear.max(), step))
        strip = np.repeat(strip, [len(some) for some in found])
        found = np.concatenate(found).astype(int)
        offset = others[found] - first[strip]
        along = (offset * ahead[strip]).sum(axis=1)
        across = np.abs(offset[:, 0] * ahead[strip][:, 1] - offset[:, 1] * ahead[strip][:, 0])
        beyond = np.maximum(np.maximum(-along, along - length[strip]), 0)
        distance = np.hypot(beyond, np.maximum(across - half, 0))
        least = min(least, (distance - clear_of_others[found]).min(initial=np.inf))
    report.check("no tool beside a row near a plant of another block", least >= -0.002, f"{least:.4f} m")


class Swept:
    """What each motion of the blade sweeps: a trapezoid, its longer side where the blade rests."""

    def __init__(self, begin, ahead, driven, blade):
        self.begin, self.ahead, self.driven = begin, ahead, driven
        self.rear, self.half = -blade["width_m"] / 2, blade["row_band_m"] / 2
        self.entering, self.leaving, self.front = blade["in_m"], blade["out_m"], blade["width_m"] / 2

    def middle(self):
        """Middle of the longer side, and the farthest that any corner lies from it."""
        length = self.driven + self.leaving + self.front - self.rear
        along = self.rear + length / 2
        return self.begin + self.ahead * along[:, None], np.hypot(length / 2, self.half)

    def area(self):
        longer = self.driven + self.leaving + self.front - self.rear
        shorter = self.driven - self.entering + self.front - self.rear
        return (longer + shorter) * self.half

    def local(self, at, points):
        """Points along and across the motions `at`, from where each begins."""
        offset, ahead = points - self.begin[at], self.ahead[at]
        return (offset * ahead).sum(axis=1), offset[:, 0] * ahead[:, 1] - offset[:, 1] * ahead[:, 0]

    def beside(self, at, points):
        """How far behind the longer side the last plant of the row lies, how far before it the next."""
        along, across = self.local(at, points)
        in_row = np.abs(across) < 0.05
        behind, before = np.full(len(self.driven), np.inf), np.full(len(self.driven), np.inf)
        front = self.driven[at] + self.leaving + self.front
        passed, ahead = in_row & (along < self.driven[at] / 2), in_row & (along > self.driven[at] / 2)
        np.minimum.at(behind, at[passed], (self.rear - along)[passed])
        np.minimum.at(before, at[ahead], (along - front)[ahead])
        return behind, before

    def distance(self, at, points):
        """From the trapezoids `at` to points, whichever side the blade comes from."""
        along, across = self.local(at, points)
        driven = self.driven[at]
        corners = [
            (np.full_like(driven, self.rear), self.half),
            (driven + self.leaving + self.front, self.half),
            (driven + self.front, -self.half),
            (np.full_like(driven, self.entering + self.rear), -self.half),
        ]
        return np.minimum(from_convex(corners, along, across), from_convex(corners, along, -across))


def from_convex(corners, x, y):
    """Distance of points from convex polygons whose corners run one way round; zero inside."""
    least, signs = np.full_like(x, np.inf), []
    for (ax, ay), (bx, by) in zip(corners, corners[1:] + corners[:1]):
        dx, dy = bx - ax, by - ay
        along = np.clip(((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy), 0, 1)
        least = np.minimum(least, np.hypot(x - ax - along * dx, y - ay - along * dy))
        signs.append(np.sign(dx * (y - ay) - dy * (x - ax)))
    inside = np.all(np.array(signs) <= 0, axis=0) | np.all(np.array(signs) >= 0, axis=0)
    return np.where(inside, 0, least)


def near(swept, plants, clear):
    """Pairs of windows and plants that may be nearer than the clear circle and a little more."""
    middle, reach = swept.middle()
    found = scipy.spatial.cKDTree(plants).query_ball_point(middle, reach + clear + 0.03)
    window = np.repeat(np.arange(len(middle)), [len(some) for some in found])
    return window, np.concatenate(found).astype(int)


def members(said):
    """Metres along the row from the first seed of a place to each of its seeds."""
    seeds = said.get("hill_seeds", 1)
    return np.arange(seeds) * said.get("hill_length_m", 0) / max(1, seeds - 1)


def plants_of(sown, field, missing):
    return np.concatenate([plants_of_row(row, missing) for row in sown.seed_rows if row.field == field])


def plants_of_row(row, missing):
    said, along = row.properties, members(row.properties)
    there = [at for at in range(said["count"])
             if (row.field, said["block"], said["row"], said["first"] + at) not in missing]
    steps = (np.array(there)[:, None] * said["spacing_m"] + along).ravel()
    if len(row.ground.coords) < 2 or row.ground.length == 0:
        return np.tile(row.ground.coords[0], (len(steps), 1))
    return shapely.get_coordinates(shapely.line_interpolate_point(row.ground, steps))


def sown_area(sown, field):
    """Of every place, its length of row times the distance between rows."""
    between_rows = next(f["crop"]["row_spacing_m"] for f in sown.manifest["fields"] if f["name"] == field)
    rows = [row.properties for row in sown.seed_rows if row.field == field]
    return between_rows * sum(row["count"] * row["spacing_m"] for row in rows)


def loss(weeding, sown, report):
    """Plants drawn at random about their places; every tool row has the same share of them here."""
    chance = np.random.default_rng(20270602)
    sigma = np.array(weeding["sigma_m"])
    row = chance.integers(len(sigma), size=PLANTS)
    along = chance.normal(0, sigma[row, 0])
    across = chance.normal(0, sigma[row, 1])
    said = next(f for f in sown.manifest["fields"] if f["name"] == weeding["field"])
    if weeding["blade"]:
        blade, clear = weeding["blade"], weeding["clear_m"]
        hill = members(next(row.properties for row in sown.seed_rows if row.field == weeding["field"]))
        along = along + chance.choice(hill, size=PLANTS)
        share = across / blade["row_band_m"] + 0.5
        inside = (share >= 0) & (share <= 1)
        behind = along - hill[-1] > clear + share * blade["in_m"]
        before = -along > clear + share * blade["out_m"]
        hit = inside & (behind | before)
    elif weeding["clear_m"] > 0:
        edge = (said["crop"]["row_spacing_m"] - weeding["between_rows_m"]) / 2
        hit = np.abs(across) > edge
    else:
        report.check("tools over the seed stay above it", weeding["depth_m"] < said["crop"]["depth_m"] and weeding["loss"] == 0)
        return
    report.close("the expected loss is that of a million plants", weeding["loss"], hit.mean(), 0.002, weeding["field"])


if __name__ == "__main__":
    run(check, sys.argv[1:])
