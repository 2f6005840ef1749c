"""surveys.py PROGRAM [FOLDER]: surveys written by other programs, read by `lanewright survey`.

Invented fields are written by GDAL (pyogrio through geopandas) as GeoJSON, Shapefile, zipped
Shapefile, GeoPackage, GML, KML, GPX and CSV, in degrees and in map grids; the clean file that the program
makes of each must have the same polygons: to 1e-9 degrees from degrees, to 1 mm (1e-8 degrees) from
a map grid, since its metres went through the projection of one program and came back through that of
another. With a FOLDER of real files, counts and geodesic areas must be those that geopandas and
pyproj give.
"""

import json
import math
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

import geopandas
import pandas
import pyogrio
import pyproj
import shapely
from emitted import Report
from shapely.geometry import MultiPolygon, Polygon

LONG_ACRE = Polygon(
    [(-27.41, 48.61), (-27.4069, 48.6103), (-27.4071, 48.612), (-27.4085, 48.6118), (-27.4102, 48.6121)],
    [[(-27.409, 48.611), (-27.4088, 48.611), (-27.4088, 48.6112), (-27.409, 48.6112)]],
)
TWO_HALVES = MultiPolygon([
    Polygon([(-27.4, 48.61), (-27.398, 48.61), (-27.398, 48.612), (-27.4, 48.612)]),
    Polygon([(-27.3975, 48.61), (-27.396, 48.61), (-27.396, 48.612), (-27.3975, 48.612)]),
])
FIELDS = geopandas.GeoDataFrame(
    {"name": ["Long Acre", "Two Halves"], "crop": ["oats", "rye"]}, geometry=[LONG_ACRE, TWO_HALVES], crs="EPSG:4258"
)
# Zone 26 of UTM on ETRS89 holds the invented Vale of Thrennow.
GRID = "EPSG:32626"


def survey(program, path, *options):
    done = subprocess.run(
        [program, "survey", str(path), "-o", "-", *options], capture_output=True, text=True, timeout=300
    )
    if done.returncode != 0:
        raise RuntimeError(done.stderr.strip()[-400:])
    return json.loads(done.stdout)


def boundaries(clean):
    of_field = (f for f in clean["features"] if f["properties"].get("kind") == "boundary")
    return [(f["properties"], shapely.geometry.shape(f["geometry"])) for f in of_field]


def farthest(one, other):
    """Degrees between the vertices of two polygons, wherever their rings begin."""
    ours = shapely.get_coordinates(one.normalize())
    theirs = shapely.get_coordinates(other.normalize())
    return float(abs(ours - theirs).max()) if ours.shape == theirs.shape else math.inf


def write(fields, folder):
    """Every format that GDAL writes polygons in, with its tolerance in degrees and our options."""
    degrees, metres = 1e-9, 1e-8
    grid = fields.to_crs(GRID)
    epsg = ["--into", "EPSG:4326"]
    fields.to_file(folder / "a.geojson", driver="GeoJSON", COORDINATE_PRECISION=15, RFC7946="NO")
    yield folder / "a.geojson", degrees, []
    grid.to_file(folder / "grid.geojson", driver="GeoJSON", COORDINATE_PRECISION=6)
    yield folder / "grid.geojson", metres, epsg
    for name, layer, tolerance, options in [("a", fields, degrees, []), ("grid", grid, metres, epsg)]:
        layer.to_file(folder / f"{name}.shp", driver="ESRI Shapefile")
        yield folder / f"{name}.shp", tolerance, options
        with zipfile.ZipFile(folder / f"{name}-shp.zip", "w", zipfile.ZIP_DEFLATED) as packed:
            for end in ("shp", "dbf", "shx", "prj", "cpg"):
                packed.write(folder / f"{name}.{end}", f"survey/{name}.{end}")
        yield folder / f"{name}-shp.zip", tolerance, options
        layer.to_file(folder / f"{name}.gpkg", driver="GPKG", layer="fields")
        yield folder / f"{name}.gpkg", tolerance, options
    fields.to_file(folder / "a.gml", driver="GML", FORMAT="GML3.2")
    yield folder / "a.gml", degrees, []
    fields.to_crs("EPSG:4326").to_file(folder / "a.kml", driver="KML")
    yield folder / "a.kml", degrees, []
    with zipfile.ZipFile(folder / "a.kmz", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.write(folder / "a.kml", "doc.kml")
    yield folder / "a.kmz", degrees, []


def check_polygons(program, folder, report):
    for path, tolerance, options in write(FIELDS, folder):
        read = boundaries(survey(program, path, "--all", *options))
        apart = [farthest(polygon, written) for (_, polygon), written in zip(read, FIELDS.geometry)]
        report.check(
            f"{path.name}: both fields come back within {tolerance:g} degrees",
            len(read) == 2 and max(apart) <= tolerance,
            f"{len(read)} fields, {apart}",
        )
        named = [properties.get("name") or properties.get("Name") for properties, _ in read]
        report.check(f"{path.name}: names come back", named == list(FIELDS["name"]), f"{named}")
        one = boundaries(survey(program, path, "--name", "Two Halves", *options))
        report.check(f"{path.name}: one is chosen by its name", len(one) == 1, f"{len(one)}")


def check_lines_and_points(program, folder, report):
    ring = FIELDS.geometry[0].exterior
    walked = geopandas.GeoDataFrame({"name": ["Long Acre"]}, geometry=[ring], crs="EPSG:4326")
    walked["geometry"] = walked.geometry.apply(lambda line: shapely.LineString(line.coords))
    walked.to_file(folder / "walk.gpx", driver="GPX", layer="tracks", FORCE_GPX_TRACK="YES")
    corners = geopandas.GeoDataFrame(
        geometry=[shapely.Point(corner) for corner in list(ring.coords)[:-1]], crs="EPSG:4326"
    )
    corners.to_file(folder / "corners.gpx", driver="GPX", layer="waypoints")
    table = corners.to_crs(GRID)
    with open(folder / "corners.csv", "w", encoding="utf-8") as out:
        out.write("point;easting;northing\n")
        for index, corner in enumerate(table.geometry):
            out.write(f"{index};{corner.x:.6f};{corner.y:.6f}\n".replace(".", ","))
    for name, tolerance, options in [
        # GDAL writes GPX with nine decimals.
        ("walk.gpx", 1.1e-9, []),
        ("corners.gpx", 1.1e-9, []),
        ("corners.csv", 1e-8, ["--frame", GRID, "--into", "EPSG:4326"]),
    ]:
        [(_, polygon)] = boundaries(survey(program, folder / name, *options))
        apart = farthest(polygon, Polygon(ring.coords))
        report.check(f"{name}: the ring comes back within {tolerance:g} degrees", apart <= tolerance, f"{apart}")


def geodesic_area(geometry, geod):
    return abs(geod.geometry_area_perimeter(shapely.geometry.polygon.orient(geometry))[0]) if (
        geometry.geom_type == "Polygon"
    ) else sum(geodesic_area(part, geod) for part in geometry.geoms)


def sliver(geometry, metric):
    """What the program refuses as such: under 1 m², or narrower than 0.5 m in the mean."""
    flat = geopandas.GeoSeries([geometry], crs=metric[0]).to_crs(metric[1]).iloc[0]
    parts = getattr(flat, "geoms", [flat])
    largest = shapely.Polygon(max(parts, key=lambda part: part.area).exterior)
    return largest.area < 1.0 or 2 * largest.area / largest.length < 0.5


def check_real(program, path, folder, report):
    layers = [name for name, kind in pyogrio.list_layers(path) if kind]
    frames = [geopandas.read_file(path, layer=layer) for layer in layers]
    frame = pandas.concat([frame[frame.geometry.notna()] for frame in frames], ignore_index=True)
    frame = frame[frame.geom_type.isin(["Polygon", "MultiPolygon"])]
    metric = (frame.crs, frame.estimate_utm_crs())
    slivers = frame.geometry.apply(lambda geometry: sliver(geometry, metric))
    if slivers.any():
        told = subprocess.run(
            [program, "survey", str(path), "--all", "--format", "json"], capture_output=True, text=True, timeout=300
        )
        findings = [json.loads(line) for line in told.stdout.splitlines()]
        errors = [finding["rule"] for finding in findings if finding["severity"] == "error"]
        report.check(
            f"{path.name}: its {slivers.sum()} slivers are refused, and nothing else",
            errors == ["field/zero-area"] * int(slivers.sum()),
            f"{errors}",
        )
        frame = frame[~slivers]
        path = folder / f"{path.stem}.gpkg"
        frame[["geometry"]].to_file(path, driver="GPKG")
    clean = survey(program, path, "--all", "--tolerance", "0")
    ours = boundaries(clean)
    report.check(f"{path.name}: {len(frame)} fields", len(ours) == len(frame), f"{len(ours)} read")
    code = clean["reference_frame"]["code"]
    geod = pyproj.CRS(code).get_geod()
    theirs = frame.to_crs(code).geometry
    for (_, polygon), written in zip(ours, theirs):
        area, around = geodesic_area(written, geod), abs(geod.geometry_length(written))
        # Nine decimals are 0.1 mm; a frame change by another version of PROJ is allowed 1 part in a million.
        report.close(
            f"{path.name}: areas as pyproj's",
            geodesic_area(polygon, geod),
            area,
            1e-6 * area + 1e-4 * around,
        )


def main():
    program = str(Path(sys.argv[1]).resolve())
    report = Report("surveys")
    with tempfile.TemporaryDirectory() as folder:
        check_polygons(program, Path(folder), report)
        check_lines_and_points(program, Path(folder), report)
    with tempfile.TemporaryDirectory() as kept:
        for path in sorted(path for folder in sys.argv[2:] for path in Path(folder).rglob("*")):
            if path.suffix in {".zip", ".gpkg", ".geojson", ".kml", ".kmz"}:
                check_real(program, path, Path(kept), report)
    sys.exit(0 if report.print() else 1)


if __name__ == "__main__":
    main()
