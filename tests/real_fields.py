"""real_fields.py --program LANEWRIGHT PARCELS.geojson: compiles every parcel and prints a table.

In: a GeoJSON of parcels (Polygon or MultiPolygon, longitude and latitude), each with an `id`. For
each, a job is written with one of three machines, every other choice left to the compiler: six rows
of 45 cm, radius 2.5 m, reversing; eight of 37.5 cm, turning on the spot; four of 75 cm, radius 4.5 m,
forward only. Out: a line a parcel, either with
figures or with the rules that refuse it, then totals. The parcels are read as they are: nothing is
repaired here.

With --bound the soil that the rows leave stands beside what no pose of the tool bar can reach, which
takes seconds a parcel. With --keep FOLDER the jobs and what they gave stay there; with --at-least N the exit status is 1
when fewer parcels compile, as it is when the program breaks on one of them.
"""

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

# Body and antennas in metres from the reference point; the tools stand behind it.
MACHINES = {
    "six-rows": ("45 cm", """\
name = "Trial-6"
rows = 6
row_spacing = "45 cm"
working_width = "2.7 m"
tool_offset = "-0.9 m"
body = [["1.6 m", "-1.5 m"], ["1.6 m", "1.5 m"], ["-1.2 m", "1.5 m"], ["-1.2 m", "-1.5 m"]]
wheel_tracks = ["-90 cm", "90 cm"]
turning_radius = "2.5 m"
may_reverse = true
turns_on_spot = false
"""),
    "eight-rows": ("37.5 cm", """\
name = "Trial-8"
rows = 8
row_spacing = "37.5 cm"
working_width = "3 m"
tool_offset = "-0.8 m"
body = [["1.2 m", "-1.6 m"], ["1.2 m", "1.6 m"], ["-1.1 m", "1.6 m"], ["-1.1 m", "-1.6 m"]]
wheel_tracks = ["-112.5 cm", "112.5 cm"]
turning_radius = "2 m"
may_reverse = true
turns_on_spot = true
"""),
    "four-rows": ("75 cm", """\
name = "Trial-4"
rows = 4
row_spacing = "75 cm"
working_width = "3 m"
tool_offset = "-1.1 m"
body = [["2.1 m", "-1.6 m"], ["2.1 m", "1.6 m"], ["-1.5 m", "1.6 m"], ["-1.5 m", "-1.6 m"]]
wheel_tracks = ["-75 cm", "75 cm"]
turning_radius = "4.5 m"
may_reverse = false
turns_on_spot = false
"""),
}

COMMON = """\
antennas = [
    { forward = "0.5 m", right = "-1.1 m", height = "2.1 m" },
    { forward = "0.5 m", right = "1.1 m", height = "2.1 m" },
]
tyre_width = "18 cm"
working_speed = "3.6 km/h"
turning_speed = "2 km/h"
transit_speed = "4 km/h"
hopper = "2 kg"
"""

JOB = """\
[order]
title = "Parcel {id}"
issued = 2027-04-12
customer = "Aldermoor Growers' Cooperative"
farm = "Trial parcels"
operations = ["sowing"]
hours_per_day = "10 h"

[frames]
survey = "ITRF2014@2027.3"
base_station = "ITRF2014@2027.3"
output = "ITRF2014@2027.3"

[machine]
{machine}
[[crop]]
name = "chicory"
variety = "Fenlight"
depth = "12 mm"
thousand_seed_mass = "1.5 g"
germination = "92 %"
field_emergence = "85 %"

[[field]]
name = "{id}"
boundary = "{id}.geojson"
fence_margin = "{margin}"
crop = "chicory"
guidance = "best"
headland = {{ corners = "{corners}" }}

[field.spacing]
between_rows = "{between_rows}"
between_seeds = "18 cm"
pattern = "single"
stagger = "none"
"""

HEADINGS = ("parcel", "ha", "shape", "worked", "overlap", "left-over", "lanes", "turns", "efficiency", "seconds")


def main():
    options = arguments()
    parcels = json.loads(options.parcels.read_text("utf-8"))["features"]
    with tempfile.TemporaryDirectory() as temporary:
        work = Path(options.keep or temporary)
        work.mkdir(parents=True, exist_ok=True)
        with ThreadPoolExecutor(options.threads) as pool:
            rows = list(pool.map(lambda parcel: compile_parcel(options, work, parcel), parcels))
    table(rows)
    totals(rows)
    broken = sum(row["status"] not in (0, 1) for row in rows)
    compiled = sum(row["status"] == 0 for row in rows)
    sys.exit(1 if broken or compiled < options.at_least else 0)


def arguments():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--program", required=True, help="the lanewright command")
    parser.add_argument("--margin", default="0.5 m", help="fence margin (0.5 m)")
    parser.add_argument("--machine", choices=MACHINES, default="six-rows", help="which machine (six-rows)")
    parser.add_argument("--corners", choices=("round", "square"), default="round", help="how laps pass corners (round)")
    parser.add_argument("--bound", action="store_true", help="compute what no pose can reach")
    parser.add_argument("--limit", type=float, default=600, help="seconds for a parcel (600)")
    parser.add_argument("--threads", type=int, default=os.cpu_count(), help="parcels at a time")
    parser.add_argument("--keep", help="folder for the jobs and what they gave")
    parser.add_argument("--at-least", type=int, default=0, help="parcels that must compile")
    parser.add_argument("parcels", type=Path)
    return parser.parse_args()


def compile_parcel(options, work, parcel):
    said = parcel["properties"]
    name = said["id"]
    boundary = {"type": "Feature", "properties": {}, "geometry": parcel["geometry"]}
    (work / f"{name}.geojson").write_text(json.dumps(boundary), "utf-8")
    job = work / f"{name}.toml"
    between_rows, machine = MACHINES[options.machine]
    text = JOB.format(
        id=name, margin=options.margin, corners=options.corners, machine=machine + COMMON, between_rows=between_rows
    )
    job.write_text(text, "utf-8")
    began = time.monotonic()
    try:
        run = subprocess.run(
            [options.program, "compile", job, "-o", work / "out", "--format", "json"],
            capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL, timeout=options.limit,
            env={**os.environ, "RAYON_NUM_THREADS": "1"},
        )
        status, out, err = run.returncode, run.stdout, run.stderr
    except subprocess.TimeoutExpired:
        status, out, err = -1, "", f"took more than {options.limit:g} s"
    row = {"id": name, "shape": said.get("shape", ""), "ha": said.get("area_ha", 0.0), "status": status,
           "seconds": time.monotonic() - began, "findings": findings(out)}
    if status == 0:
        row["figures"] = json.loads((work / "out" / name / "manifest.json").read_text("utf-8"))["figures"]
        if options.bound:
            row["bound"] = out_of_reach(work / "out" / name)
    elif status != 1:
        row["findings"].append({"rule": f"exit {status}", "severity": "error", "message": err.strip()[-200:]})
    return row


def out_of_reach(folder):
    """Square metres that rows leave inside the fence, and those that no pose of the tool bar reaches."""
    sys.path.insert(0, str(Path(__file__).parent / "outside"))
    from emitted import Emitted
    from out_of_reach import out_of_reach_m2

    plan = Emitted(folder)
    field = plan.fields()[0]
    fence = plan.region("fence", field)
    headings = {round(lane.properties["heading_deg"], 1) for lane in plan.of("lane", field) if not lane.properties["lap"]}
    left = fence.area - plan.figures["worked_m2"] - plan.figures["headland_m2"]
    return left, out_of_reach_m2(fence, plan.machine, sorted(headings))


def findings(text):
    told = []
    for line in text.splitlines():
        try:
            told.append(json.loads(line))
        except ValueError:
            continue
    return told


def table(rows):
    headings = "{:<8}{:>7}  {:<24}{:>8}{:>9}{:>11}{:>7}{:>7}{:>12}{:>9}".format(*HEADINGS)
    print(headings + ("{:>10}{:>8}".format("leaves m2", "bound") if any("bound" in row for row in rows) else ""))
    for row in sorted(rows, key=lambda r: (r["status"], r["id"])):
        print("{:<8}{:>7.2f}  {:<24}".format(row["id"], row["ha"], row["shape"][:23]), end="")
        if row["status"] == 0:
            f = row["figures"]
            print("{:>7.1f}%{:>8.2f}%{:>10.1f}%{:>7}{:>7}{:>12.3f}{:>9.2f}".format(
                100 * f["worked_m2"] / f["soil_m2"], 100 * f["overlap_m2"] / f["worked_m2"],
                100 * f["left_over_m2"] / f["field_m2"], f["lanes"], f["turns"], f["field_efficiency"], row["seconds"]),
                end="")
            print("{:>10.0f}{:>8.0f}".format(*row["bound"]) if "bound" in row else "")
        else:
            errors = [f for f in row["findings"] if f["severity"] == "error"]
            what = "; ".join(f"{f['rule']}: {f['message']}" for f in errors) or "no finding"
            print(f" refused in {row['seconds']:.2f} s: {what[:220]}")


def totals(rows):
    done = [row for row in rows if row["status"] == 0]
    print(f"\n{len(done)} of {len(rows)} parcels compiled")
    if done:
        total = Counter()
        for row in done:
            total.update({k: v for k, v in row["figures"].items() if isinstance(v, (int, float))})
        print("of their {:.0f} ha: worked {:.2f} % of the soil inside the fence, overlap {:.2f} %, left over {:.2f} % of the field; "
              "{:.0f} lanes, {:.0f} turns".format(
                  total["field_m2"] / 1e4, 100 * total["worked_m2"] / total["soil_m2"], 100 * total["overlap_m2"] / total["worked_m2"],
                  100 * total["left_over_m2"] / total["field_m2"], total["lanes"], total["turns"]))
        efficiency = sum(r["figures"]["field_efficiency"] for r in done) / len(done)
        seconds = statistics.median(row["seconds"] for row in done)
        left = statistics.median(1 - row["figures"]["worked_m2"] / row["figures"]["soil_m2"] for row in done)
        gap = statistics.median(row["figures"]["route_gap"] for row in done)
        print(f"medians: {seconds:.2f} s, {100 * left:.2f} % of the soil left, route gap {100 * gap:.2f} %")
        slowest = max(done, key=lambda r: r["seconds"])
        print(f"mean field efficiency {efficiency:.3f}; slowest {slowest['id']}, {slowest['seconds']:.1f} s")
    rules = Counter(f["rule"] for row in rows if row["status"] != 0 for f in row["findings"] if f["severity"] == "error")
    for rule, count in rules.most_common():
        print(f"  refused by {rule}: {count}")


if __name__ == "__main__":
    main()
