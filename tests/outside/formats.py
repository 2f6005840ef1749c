"""formats.py FOLDER…: emitted files and demo jobs against the published JSON Schemas and RFC 7946.

The manifest against schema/manifest.schema.json; the digests that it lists, recomputed; the demo
jobs against schema/job.schema.json; the GeoJSON files against the rules of RFC 7946 that other
programs rely on: closed rings, exteriors counter-clockwise and holes clockwise (§3.1.6), no "crs"
member (§4).
"""

import hashlib
import json
import sys
from pathlib import Path

import jsonschema
from emitted import run

try:
    import tomllib
except ModuleNotFoundError:
    import tomli as tomllib

REPOSITORY = Path(__file__).resolve().parents[2]


def check(folder, report):
    folder = Path(folder)
    manifest = json.loads((folder / "manifest.json").read_text("utf-8"))
    against(manifest, "manifest.schema.json", "the manifest is as its schema says", report)
    digests(folder, manifest, report)
    for name in ("plan.geojson", "seed-rows.geojson"):
        if name == "seed-rows.geojson" and manifest.get("weeding"):
            continue  # a weeding pass makes no seed map
        geojson(json.loads((folder / name).read_text("utf-8")), name, report)
    job = REPOSITORY / "demo-jobs" / f"{folder.name}.toml"
    if job.exists():
        written = tomllib.loads(job.read_text("utf-8"))
        # A date of TOML stands for its text: JSON knows no dates.
        written = json.loads(json.dumps(written, default=str))
        schema = "weeding.schema.json" if "sown" in written else "job.schema.json"
        against(written, schema, "the demo job is as the published schema says", report)


def against(value, schema, what, report):
    said = json.loads((REPOSITORY / "schema" / schema).read_text("utf-8"))
    validator = jsonschema.validators.validator_for(said)
    validator.check_schema(said)
    errors = [f"{'/'.join(map(str, e.absolute_path))}: {e.message[:160]}" for e in validator(said).iter_errors(value)]
    report.check(what, not errors, errors)


def digests(folder, manifest, report):
    listed = {entry["path"]: entry["sha256"] for entry in manifest["outputs"]}
    there = {str(p.relative_to(folder).as_posix()) for p in folder.rglob("*") if p.is_file()} - {"manifest.json"}
    report.check("the manifest lists every file", set(listed) == there, set(listed) ^ there)
    for path, digest in listed.items():
        if (folder / path).is_file():
            found = hashlib.sha256((folder / path).read_bytes()).hexdigest()
            report.check("digests are those of the files", found == digest, path)


def geojson(collection, name, report):
    report.check("GeoJSON carries no crs member", "crs" not in collection, name)
    for feature in collection["features"]:
        report.check("features are features", set(feature) >= {"type", "geometry", "properties"}, name)
        geometry = feature["geometry"]
        if geometry["type"] not in ("Polygon", "MultiPolygon"):
            continue
        polygons = [geometry["coordinates"]] if geometry["type"] == "Polygon" else geometry["coordinates"]
        for rings in polygons:
            for index, ring in enumerate(rings):
                closed = len(ring) >= 4 and ring[0] == ring[-1]
                report.check("rings are closed", closed, f"{name}, {feature['properties'].get('kind')}")
                doubled = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(shifted(ring), shifted(ring)[1:]))
                report.check("exteriors run counter-clockwise, holes clockwise", (doubled > 0) == (index == 0),
                             f"{name}, {feature['properties'].get('kind')}")


def shifted(ring):
    """From its first position, so that the area is not lost in the digits."""
    return [(x - ring[0][0], y - ring[0][1]) for x, y in ring]


if __name__ == "__main__":
    run(check, sys.argv[1:])
