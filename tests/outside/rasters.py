"""rasters.py PROGRAM: treatment zones from GeoTIFF, written by GDAL, judged from the emitted files by numpy,
shapely and pyproj.

The demo job with zones is compiled with rasters in place of its polygons: of every type of number that is
common, in strips and tiles, plain and packed, in a map grid, turned against it, and in degrees, with the
grid's whole numbers at the corners or in the middles of cells, with cells that hold no data. Each zone of the
plan must be the cells of its number that lie in the field; and away from the borders every seed must
stand as far from the next as the number of the cell wants in which it lies. GDAL is the copy that comes
with pyogrio, called as a C library.
"""

import ctypes
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pyarrow.parquet as parquet
import pyogrio
import pyproj
import shapely
from emitted import Emitted, Report

DEMO = Path(__file__).resolve().parents[2] / "demo-jobs"
OWN_M, BETWEEN_ROWS_M = 0.12, 0.45
# On the lattice a border lies at the nearest pair of places that keep their distance: within 2 m, which is
# so much of the smallest cell.
REACH = 0.65
# GDAL's numbers of types.
TYPES = {"uint8": 1, "uint16": 2, "int16": 3, "int32": 5, "float32": 6, "float64": 7}
GRID, DEGREES = "EPSG:32626", "EPSG:4326"


def gdal():
    library = next(Path(pyogrio.__file__).parents[1].glob("pyogrio.libs/libgdal*"), None)
    library = library or next(Path(pyogrio.__file__).parent.glob(".dylibs/libgdal*"))
    lib = ctypes.CDLL(str(library))
    lib.GDALAllRegister()
    lib.GDALGetDriverByName.restype = lib.GDALCreate.restype = lib.GDALGetRasterBand.restype = ctypes.c_void_p
    lib.GDALGetDriverByName.argtypes = [ctypes.c_char_p]
    lib.GDALCreate.argtypes = [ctypes.c_void_p, ctypes.c_char_p, *[ctypes.c_int] * 4, ctypes.POINTER(ctypes.c_char_p)]
    lib.GDALSetGeoTransform.argtypes = [ctypes.c_void_p, ctypes.POINTER(ctypes.c_double)]
    lib.GDALSetProjection.argtypes = [ctypes.c_void_p, ctypes.c_char_p]
    lib.GDALSetMetadataItem.argtypes = [ctypes.c_void_p, *[ctypes.c_char_p] * 3]
    lib.GDALGetRasterBand.argtypes = [ctypes.c_void_p, ctypes.c_int]
    lib.GDALSetRasterNoDataValue.argtypes = [ctypes.c_void_p, ctypes.c_double]
    lib.GDALRasterIO.argtypes = [ctypes.c_void_p, *[ctypes.c_int] * 5, ctypes.c_void_p, *[ctypes.c_int] * 5]
    lib.GDALClose.argtypes = [ctypes.c_void_p]
    return lib


def write(lib, path, cells, transform, crs, options=(), empty=None, point=False):
    rows, columns = cells.shape
    names = (ctypes.c_char_p * (len(options) + 1))(*[option.encode() for option in options], None)
    driver = lib.GDALGetDriverByName(b"GTiff")
    raster = lib.GDALCreate(driver, str(path).encode(), columns, rows, 1, TYPES[cells.dtype.name], names)
    if point:
        lib.GDALSetMetadataItem(raster, b"AREA_OR_POINT", b"Point", None)
    lib.GDALSetProjection(raster, pyproj.CRS(crs).to_wkt("WKT1_GDAL").encode())
    lib.GDALSetGeoTransform(raster, (ctypes.c_double * 6)(*transform))
    band = lib.GDALGetRasterBand(raster, 1)
    if empty is not None:
        lib.GDALSetRasterNoDataValue(band, empty)
    cells = np.ascontiguousarray(cells)
    kind = TYPES[cells.dtype.name]
    failed = lib.GDALRasterIO(band, 1, 0, 0, columns, rows, cells.ctypes.data, columns, rows, kind, 0, 0)
    lib.GDALClose(raster)
    assert failed == 0, path


def hilly(columns, rows, levels):
    """A smooth surface cut into classes, with an island and a hole."""
    x, y = np.meshgrid(np.arange(columns) / columns, np.arange(rows) / rows)
    height = np.sin(5 * x + 1) * np.cos(4 * y) + 0.6 * np.exp(-40 * ((x - 0.55) ** 2 + (y - 0.5) ** 2))
    rank = np.searchsorted(np.quantile(height, np.linspace(0, 1, len(levels) + 1)[1:-1]), height)
    return np.asarray(levels)[rank]


def over_the_field(crs, metres):
    """Where a raster of square cells begins that covers the field with some cells to spare, and its size."""
    to = pyproj.Transformer.from_crs(DEGREES, crs, always_xy=True)
    x, y = to.transform([-27.4230, -27.4209, -27.4209, -27.4230], [48.6289, 48.6289, 48.6300, 48.6300])
    cell = metres if crs == GRID else metres / 111_000
    columns, rows = int(np.ptp(x) / cell) + 6, int(np.ptp(y) / cell) + 6
    return (min(x) - 3 * cell, cell, 0.0, max(y) + 3 * cell, 0.0, -cell), columns, rows


def turned(transform, columns, rows, degrees):
    """The same grid turned about its middle, and larger so that it still covers the field."""
    x, cell, _, y, _, _ = transform
    middle = np.array([x + columns * cell / 2, y - rows * cell / 2])
    sin, cos = np.sin(np.radians(degrees)), np.cos(np.radians(degrees))
    columns, rows = 2 * columns, 2 * rows
    across, down = cell * np.array([cos, sin]), cell * np.array([sin, -cos])
    origin = middle - across * columns / 2 - down * rows / 2
    return (origin[0], across[0], down[0], origin[1], across[1], down[1]), columns, rows


def compiled(program, temporary, name, keys):
    text = (DEMO / "warren-piece.toml").read_text("utf-8")
    head, _ = text.split("\n# The attribute")
    body = "".join(f"{line}\n" for line in [f'file = "{name}.tif"', *keys])
    job = Path(temporary) / f"{name}.toml"
    job.write_text(f"{head}\n[field.zones]\n{body}", "utf-8")
    done = subprocess.run([program, "compile", str(job), "--seeds", "-o", str(Path(temporary) / "out")],
                          capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise RuntimeError(done.stderr[-900:])
    return Path(temporary) / "out" / name


def judge(folder, rates, transform, crs, report):
    """`rates` holds the share of the field's seeds for each cell, or NaN."""
    emitted = Emitted(folder)
    boundary = shapely.union_all([f.ground for f in emitted.of("boundary")])
    to_degrees = pyproj.Transformer.from_crs(crs, DEGREES, always_xy=True)
    x, across_x, down_x, y, across_y, down_y = transform

    def corners(column, row):
        return np.column_stack(to_degrees.transform(x + column * across_x + row * down_x, y + column * across_y + row * down_y))

    zones = {}
    for f in emitted.of("zone"):
        zones.setdefault(round(f.properties["rate"], 6), []).append(f.ground)
    present = {}
    rows, columns = np.indices(rates.shape)
    for asked in np.unique(rates[np.isfinite(rates)]):
        own = rates == asked
        column, row = columns[own], rows[own]
        rings = np.stack([emitted.metres(corners(column + a, row + b)) for a, b in ((0, 0), (1, 0), (1, 1), (0, 1))], axis=1)
        ground = shapely.union_all(shapely.polygons(rings)).intersection(boundary)
        if ground.area > 1.0:
            present[float(asked)] = ground
    report.check("there is a zone for each rate in the field", len(zones) == len(present) > 1, f"{len(zones)} for {len(present)}")
    for asked, ground in present.items():
        near = [shapely.union_all(g) for rate, g in zones.items() if abs(rate - asked) < 0.01 * asked]
        off = near[0].symmetric_difference(ground).area if len(near) == 1 else np.inf
        report.check(f"the zone of {asked:.3g} is its cells", off < 0.5, off)
    sown(emitted, rates, transform, crs, report)


def sown(emitted, rates, transform, crs, report):
    table = parquet.read_table(emitted.folder / "seeds.parquet", columns=["longitude", "latitude"])
    seeds = np.column_stack([table[name].to_numpy() for name in table.column_names])
    runs = [f.properties for f in emitted.seed_rows]
    together = np.array([run.get("hill_seeds", 1) for run in runs])
    apart = np.repeat([run["spacing_m"] for run in runs] / together, together * [run["count"] for run in runs])
    to_grid = pyproj.Transformer.from_crs(DEGREES, crs, always_xy=True)
    at = np.column_stack(to_grid.transform(seeds[:, 0], seeds[:, 1])) - [transform[0], transform[3]]
    matrix = np.linalg.inv(np.array([[transform[1], transform[2]], [transform[4], transform[5]]]))
    column, row = matrix @ at.T
    about = [(a, b) for a in (-REACH, 0, REACH) for b in (-REACH, 0, REACH)]
    found = [rates[np.floor(row + a).astype(int), np.floor(column + b).astype(int)] for a, b in about]
    inside = np.all([of == found[0] for of in found], axis=0)
    off = np.abs(apart[inside] * found[0][inside] / OWN_M - 1)
    report.check("seeds lie well inside zones", inside.sum() > 0.2 * len(seeds), f"{inside.sum()} of {len(seeds)}")
    report.check("each stands as far apart as its cell wants", off.max() < 0.011, off.max())


def cases():
    own_per_ha = 1e4 / (OWN_M * BETWEEN_ROWS_M)
    share = ['rate = "value"']
    grid = over_the_field(GRID, 6.0)
    yield "bytes", hilly(*grid[1:], [1, 2]).astype("uint8"), grid[0], GRID, {}, share, float
    yield ("packed-tiles", hilly(*grid[1:], [0.8, 1.0, 1.25]).astype("float32"), grid[0], GRID,
           {"options": ["TILED=YES", "BLOCKXSIZE=16", "BLOCKYSIZE=16", "COMPRESS=DEFLATE", "PREDICTOR=3"]}, share, float)
    seeds = hilly(*grid[1:], [150_000, 185_000, 220_000]).astype("int32")
    yield ("points", seeds, grid[0], GRID, {"options": ["COMPRESS=LZW", "PREDICTOR=2"], "point": True},
           ['seeds_per_ha = "value"'], lambda n: n / own_per_ha)
    degrees = over_the_field(DEGREES, 5.0)
    holed = hilly(*degrees[1:], [0.75, 1.0, 1.5]).astype("float64")
    holed[8:12, 10:20] = -9999.0
    yield ("degrees", holed, degrees[0], DEGREES, {"empty": -9999.0}, [*share, 'elsewhere = "100 %"'], float)
    measured = np.add.outer(np.linspace(0, 30, grid[2]), np.linspace(0, 30, grid[1])).astype("float32")
    classes = ["class = [", '{ name = "thin", below = 20.0, rate = "125 %" },', '{ from = 20.0, below = 40.0, rate = "100 %" },',
               '{ from = 40.0, rate = "80 %" },', "]"]
    yield ("classes", measured, grid[0], GRID, {}, classes, lambda n: 1.25 if n < 20 else 1.0 if n < 40 else 0.8)
    classes = ["class = [", '{ below = 20.0, pattern = "hill", seeds_per_hill = 3, hill_length = "4 cm" },',
               '{ from = 20.0, below = 40.0, rate = "80 %" },',
               '{ name = "dense", from = 40.0, pattern = "drill", between_seeds = "6 cm" },', "]"]
    yield ("classes-of-patterns", measured, grid[0], GRID, {}, classes,
           lambda n: 1.0 if n < 20 else 0.8 if n < 40 else OWN_M / 0.06)
    askew = turned(*grid, 20.0)
    yield "askew", hilly(*askew[1:], [1, 2, 3]).astype("int16"), askew[0], GRID, {}, share, float


def main(program):
    lib = gdal()
    good = True
    with tempfile.TemporaryDirectory() as temporary:
        for beside in ("machines", "crops", "fields"):
            shutil.copytree(DEMO / beside, Path(temporary) / beside)
        for name, cells, transform, crs, how, keys, rate_of in cases():
            report = Report(name)
            try:
                write(lib, Path(temporary) / f"{name}.tif", cells, transform, crs, **how)
                folder = compiled(program, temporary, name, keys)
                rates = np.vectorize(rate_of, otypes=[float])(cells)
                rates[cells == how.get("empty", np.nan)] = np.nan
                judge(folder, rates, transform, crs, report)
            except Exception as error:  # the rest goes on
                report.check("is compiled and readable", False, f"{type(error).__name__}: {error}")
            good &= report.print()
    sys.exit(0 if good else 1)


if __name__ == "__main__":
    main(sys.argv[1])
