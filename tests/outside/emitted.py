"""Reads what a compile leaves behind, for the checks beside this file.

In: an emitted folder. Out: plain values, with every position also in ground metres by way of the
projection that the manifest names (pyproj). Nothing here comes from the compiler.
"""

import json
import sys
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
import pyproj
import shapely
from shapely.geometry import MultiPolygon, Polygon


@dataclass
class Feature:
    kind: str
    field: str
    properties: dict
    geometry: dict
    ground: object
    """The same geometry in ground metres (shapely)."""


class Emitted:
    """One emitted folder."""

    def __init__(self, folder):
        self.folder = Path(folder)
        self.manifest = json.loads((self.folder / "manifest.json").read_text("utf-8"))
        self.figures = self.manifest["figures"]
        self.machine = self.manifest["machine"]
        self.projection = pyproj.Proj(self.manifest["frame"]["proj"])
        self.features = self.read("plan.geojson")

    @cached_property
    def seed_rows(self):
        # A weeding pass refers to the seed map of the sowing and has none of its own.
        return [] if self.manifest.get("weeding") else self.read("seed-rows.geojson")

    def read(self, name):
        collection = json.loads((self.folder / name).read_text("utf-8"))
        assert collection["type"] == "FeatureCollection", collection["type"]
        return [
            Feature(
                kind=feature["properties"].get("kind"),
                field=feature["properties"].get("field"),
                properties=feature["properties"],
                geometry=feature["geometry"],
                ground=self.on_the_ground(feature["geometry"]),
            )
            for feature in collection["features"]
        ]

    def metres(self, positions):
        positions = np.asarray(positions, dtype=float)
        x, y = self.projection(positions[:, 0], positions[:, 1])
        return np.column_stack([x, y])

    def on_the_ground(self, geometry):
        def polygon(rings):
            return Polygon(self.metres(rings[0]), [self.metres(ring) for ring in rings[1:]])

        shape, coordinates = geometry["type"], geometry["coordinates"]
        if shape == "Point":
            return shapely.Point(self.metres([coordinates])[0])
        if shape == "LineString":
            return shapely.LineString(self.metres(coordinates))
        if shape == "Polygon":
            return polygon(coordinates)
        if shape == "MultiPolygon":
            return MultiPolygon([polygon(rings) for rings in coordinates])
        raise ValueError(f"geometry {shape}")

    def of(self, kind, field=None):
        return [f for f in self.features if f.kind == kind and field in (None, f.field)]

    def fields(self):
        return list(dict.fromkeys(f.field for f in self.of("boundary")))

    def region(self, kind, field):
        return shapely.union_all([f.ground for f in self.of(kind, field)])

    def way(self, field):
        """Lanes, turns and transits of a field in driving order."""
        lanes = sorted(self.of("lane", field), key=lambda f: f.properties["order"])
        between = {f.properties["from"]: f for f in self.of("turn", field) + self.of("transit", field)}
        whole = [between[0]] if 0 in between else []
        for lane in lanes:
            whole.append(lane)
            if lane.properties["order"] in between:
                whole.append(between[lane.properties["order"]])
        return whole


def name_of(feature):
    said = feature.properties
    return f"{feature.kind} {said['order']}" if feature.kind == "lane" else f"{feature.kind} {said['from']} to {said['to']}"


class Report:
    """Prints a line a check, as tests/run.sh counts them; at most one line for each name."""

    def __init__(self, folder):
        self.name = Path(folder).name
        self.failures = {}
        self.names = []

    def check(self, what, holds, detail=""):
        if what not in self.names:
            self.names.append(what)
        if not holds:
            self.failures.setdefault(what, []).append(str(detail))
        return bool(holds)

    def close(self, what, found, expected, tolerance, detail=""):
        return self.check(
            what,
            abs(found - expected) <= tolerance,
            f"{detail} {found} is {abs(found - expected):g} away from {expected}; {tolerance:g} allowed",
        )

    def print(self):
        for what in self.names:
            if what in self.failures:
                details = self.failures[what]
                more = f" (and {len(details) - 3} more)" if len(details) > 3 else ""
                print(f"FAIL {self.name}: {what}: {'; '.join(details[:3])}{more}")
            else:
                print(f"ok {self.name}: {what}")
        return not self.failures


def run(check, folders):
    """Runs a check over folders; ends the program with the status that says how it went."""
    if not folders:
        print("FAIL nothing to check: no folder was given")
        sys.exit(1)
    good = True
    for folder in folders:
        report = Report(folder)
        try:
            check(folder, report)
        except Exception as error:  # a reader that breaks is a failed check, and the rest goes on
            report.check("is readable", False, f"{type(error).__name__}: {error}")
        good &= report.print()
    sys.exit(0 if good else 1)
