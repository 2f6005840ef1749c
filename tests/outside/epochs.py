"""epochs.py PROGRAM: fields that go from one epoch to another by way of the frame in which the ground rests.

A rectangle on each of four plates is surveyed at one epoch and compiled for a base station at another. Its
boundary in `plan.geojson` must be where pyproj's own transformations put it, first to the ground's frame at
the first epoch, then from there at the second; and it must have moved as the ITRF2014 plate motion model
says (Altamimi and others 2017, Geophys. J. Int. 209, 1906-1912, table 1, as the file `ITRF2014` of PROJ
gives it): rotations in milliarcseconds a year, whose velocities numpy computes without PROJ. Without `ground`
the job is refused, and passes once the hint is followed. Frames that are tied to no plate are refused. A seed
map in the ground's frame needs no epoch, and is weeded without one.
"""

import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pyproj
from emitted import Emitted, Report
from pyproj.aoi import AreaOfInterest

DEMO = Path(__file__).resolve().parents[2] / "demo-jobs"
EARTH = pyproj.Geod(ellps="GRS80")
ROUNDING_M = 0.3e-3
"""Of nine decimals in longitude and latitude, and of the polynomial that they come from."""

JOB = """
machine = "{demo}/machines/ox-6.toml"
crop = ["{demo}/crops/red-beet.toml"]
[order]
title = "From epoch to epoch"
issued = 2027-05-04
customer = "Aldermoor Growers' Cooperative"
farm = "Sallow Farm, Vale of Thrennow"
operations = ["sowing"]
hours_per_day = "12 h"
[frames]
survey = "{survey}"
base_station = "{base_station}"
{ground}
[[field]]
name = "Wide Piece"
corners = {corners}
fence_margin = "0.5 m"
crop = "red beet"
guidance = {{ along_edge = 1 }}
headland = {{ laps = 3, sown = "no" }}
[field.spacing]
between_rows = "45 cm"
between_seeds = "9 cm"
"""

WEEDING = """
sown = "{sown}"
base_station_frame = "ETRF2014"
machine = "{demo}/machines/ox-6-hoe.toml"
[order]
title = "From epoch to epoch, hoeing"
issued = 2027-06-01
customer = "Aldermoor Growers' Cooperative"
farm = "Sallow Farm, Vale of Thrennow"
hours_per_day = "14 h"
[pass]
operation = "inter-row weeding"
date = 2027-06-02
depth = "2 cm"
plant_radius = "3 cm"
tools = {{ per_gap = 2, width = "12 cm", overlap = "2 cm" }}
"""

PLACES = [
    # Survey, base station, ground; latitude and longitude; the plate's turning about the axes of ITRF2014, how
    # far frame and model are apart, mm a year: frames that were tied to their plate by older models to 2.
    ("ITRF2014@2015.0", "ITRF2014@2027.3", "ETRF2014", (50.0, 8.0), (-0.085, -0.531, 0.770), 0.01),
    ("ITRF2008@2009.5", "ITRF2020@2027.3", "ETRF2014", (60.0, 24.0), (-0.085, -0.531, 0.770), 0.01),
    ("ITRF2014@2027.3", "ITRF2014@2020.0", "GDA2020", (-35.0, 145.0), (1.510, 1.182, 1.215), 0.2),
    ("ITRF2014@2015.0", "ITRF2014@2027.3", "NAD83(2011)", (40.0, -100.0), (0.024, -0.694, -0.063), 2.0),
    ("ITRF2014@2015.0", "ITRF2014@2027.3", "NAD83(PA11)", (20.0, -156.0), (-0.409, 1.047, -2.169), 2.0),
]
TIED_TO_NO_PLATE = ["ITRF2014", "ITRF93", "ITRF2020", "WGS 84", "WGS 84 (G1762)"]
CODES = {
    "ITRF2008": 8999, "ITRF2014": 9000, "ITRF2020": 9990,
    "ETRF2014": 9069, "GDA2020": 7844, "NAD83(2011)": 6318, "NAD83(PA11)": 6322,
}


def rectangle(latitude, longitude):
    """Some 120 m by 80 m, as longitudes and latitudes."""
    return [EARTH.fwd(longitude, latitude, *way)[:2] for way in ((0, 0), (90, 120), (56.3, 144.2), (0, 80))]


def run(program, temporary, survey, base_station, ground, corners):
    line = f'ground = "{ground}"' if ground else ""
    corners = [[latitude, longitude] for longitude, latitude in corners]
    text = JOB.format(demo=DEMO, survey=survey, base_station=base_station, ground=line, corners=corners)
    return compiled(program, temporary, "job", text)


def compiled(program, temporary, name, text):
    """Exit status, findings, and the folder that is there only where the job passed."""
    job = Path(temporary) / f"{name}.toml"
    job.write_text(text, "utf-8")
    done = subprocess.run(
        [program, "compile", str(job), "--effort", "low", "--format", "json", "-o", str(Path(temporary) / "out")],
        capture_output=True, text=True, check=False, timeout=600,
    )
    findings = [json.loads(line) for line in done.stdout.splitlines()]
    return done.returncode, findings, Path(temporary) / "out" / name


def transformed(positions, one, other, epoch):
    """By the best transformation that pyproj knows here; none that is a guess."""
    longitude, latitude = positions[0]
    here = AreaOfInterest(longitude - 0.01, latitude - 0.01, longitude + 0.01, latitude + 0.01)
    way = pyproj.Transformer.from_crs(CODES[one], CODES[other], always_xy=True, area_of_interest=here, allow_ballpark=False)
    return [way.transform(x, y, 0.0, epoch)[:2] for x, y in positions]


def velocity_mm(turning, latitude, longitude):
    """East and north, mm a year: the rotation's cross product with the place, on the ellipsoid."""
    phi, lam = np.radians([latitude, longitude])
    place = np.array(pyproj.Transformer.from_crs(4979, 4978, always_xy=True).transform(longitude, latitude, 0.0))
    moved = np.cross(np.radians(np.array(turning) / 3.6e6), place) * 1e3
    east = [-np.sin(lam), np.cos(lam), 0.0]
    north = [-np.sin(phi) * np.cos(lam), -np.sin(phi) * np.sin(lam), np.cos(phi)]
    return np.array([moved @ east, moved @ north])


def farthest_m(ones, others):
    return max(min(EARTH.inv(*one, *other)[2] for other in others) for one in ones)


def moved_m(one, other):
    azimuth, _, metres = EARTH.inv(*one, *other)
    return metres * np.array([np.sin(np.radians(azimuth)), np.cos(np.radians(azimuth))])


def check_place(program, place, report):
    survey, base_station, ground, (latitude, longitude), turning, apart_mm = place
    corners = rectangle(latitude, longitude)
    with tempfile.TemporaryDirectory() as temporary:
        status, findings, _ = run(program, temporary, survey, base_station, None, corners)
        told = [finding for finding in findings if finding["rule"] == "frame/epochs-differ"]
        report.check("without a ground it is refused", status == 1 and len(told) == 1, findings)
        hinted = re.search(r'ground = "([^"]+)"', told[0]["hint"])[1]
        report.check("the hint names the ground", hinted == ground, told[0]["hint"])
        status, findings, folder = run(program, temporary, survey, base_station, hinted, corners)
        report.check("with it the job compiles", status == 0, findings)
        emitted = Emitted(folder)
        summary = (folder / "summary.md").read_text("utf-8")
    report.check("manifest and summary name it", emitted.manifest["frame"]["ground"] == ground and f"rest in {ground}" in summary)
    (boundary,) = emitted.of("boundary")
    found = [tuple(at) for at in np.reshape(boundary.geometry["coordinates"], (-1, 2))[:-1]]
    (first, early), (second, late) = ((name, float(epoch)) for name, epoch in (f.split("@") for f in (survey, base_station)))
    expected = transformed(transformed(corners, first, ground, early), ground, second, late)
    report.check("the boundary is where pyproj has it", farthest_m(expected, found) < ROUNDING_M, farthest_m(expected, found))
    nearest = min(found, key=lambda at: EARTH.inv(*at, *expected[0])[2])
    moved = moved_m(corners[0], nearest)
    years = late - early
    model = velocity_mm(turning, latitude, longitude) * years / 1e3
    allowed = apart_mm * abs(years) / 1e3 + ROUNDING_M
    # Two realisations of ITRF lie some millimetres apart themselves.
    allowed += 0.006 if first != second else 0.0
    report.check("it moved by decimetres", np.hypot(*moved) > 0.1, moved)
    report.check("and as its plate does", np.hypot(*(moved - model)) < allowed, (moved, model))


def check_refusals(program, report):
    for ground in TIED_TO_NO_PLATE:
        with tempfile.TemporaryDirectory() as temporary:
            status, findings, folder = run(program, temporary, *PLACES[0][:2], ground, rectangle(*PLACES[0][3]))
            refused = status == 1 and not folder.exists()
        report.check(f"{ground} is refused", refused and [f["rule"] for f in findings] == ["frame/ground-drifts"], findings)


def check_weeding(program, report):
    with tempfile.TemporaryDirectory() as temporary:
        corners = rectangle(*PLACES[0][3])
        status, findings, sown = run(program, temporary, "ITRF2014@2015.0", "ETRF2014", "ETRF2014", corners)
        report.check("it is sown without an epoch", status == 0 and not told_of_epochs(findings), findings)
        text = WEEDING.format(sown=sown, demo=DEMO)
        status, findings, folder = compiled(program, temporary, "hoeing", text)
        report.check("and weeded without one", status == 0 and not told_of_epochs(findings), findings)
        frame = Emitted(folder).manifest["frame"]
    report.check("the pass names the ground", frame["ground"] == "ETRF2014" and frame["epoch"] is None, frame)


def told_of_epochs(findings):
    return [finding for finding in findings if "epoch" in finding["rule"]]


def main(program):
    good = True
    for name, check in [
        *((f"{place[2]} at {place[3]}", lambda report, place=place: check_place(program, place, report)) for place in PLACES),
        ("no ground", lambda report: check_refusals(program, report)),
        ("a map in the ground's frame", lambda report: check_weeding(program, report)),
    ]:
        report = Report(name)
        try:
            check(report)
        except Exception as error:  # the others go on
            report.check("is compiled and readable", False, f"{type(error).__name__}: {error}")
        good &= report.print()
    sys.exit(0 if good else 1)


if __name__ == "__main__":
    main(sys.argv[1])
