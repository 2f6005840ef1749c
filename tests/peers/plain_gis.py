"""plain_gis.py BOUNDARY ROW_SPACING SEED_SPACING OUT: a field's seeds by a plain GIS script.

What a person who works with GIS would write in an afternoon: project the boundary, keep a margin,
clip parallel rows to it, place points along them, transform these back to longitude and latitude,
write a Parquet file. It knows no machine, no turn, no route and no obstacle. Lengths in metres.
"""

import json
import sys
import time

import numpy as np
import pyarrow as pa
import pyarrow.parquet as parquet
import pyproj
import shapely

MARGIN_M = 0.5


def main(boundary_file, row_spacing, seed_spacing, out):
    clock = [time.perf_counter()]
    boundary = boundary_of(boundary_file)
    to_plane = local_projection(boundary)
    field = shapely.transform(boundary, to_plane.transform, interleaved=False).buffer(-MARGIN_M)
    row, index, x, y = place(field, row_spacing, seed_spacing)
    clock.append(time.perf_counter())
    longitude, latitude = to_plane.transform(x, y, direction="INVERSE")
    clock.append(time.perf_counter())
    table = pa.table({"row": row, "index": index, "x": x, "y": y, "longitude": longitude, "latitude": latitude})
    parquet.write_table(table, out, compression="zstd")
    clock.append(time.perf_counter())
    placed, projected, written = np.diff(clock)
    print(json.dumps({"seeds": len(x), "place_s": placed, "project_s": projected, "write_s": written}))


def boundary_of(path):
    with open(path, encoding="utf-8") as file:
        return shapely.geometry.shape(json.load(file)["features"][0]["geometry"])


def local_projection(boundary):
    centre = boundary.centroid
    plane = f"+proj=tmerc +lat_0={centre.y} +lon_0={centre.x} +k_0=1 +ellps=GRS80 +units=m +no_defs"
    return pyproj.Transformer.from_crs("EPSG:9000", plane, always_xy=True)


def place(field, row_spacing, seed_spacing):
    """Rows along the longest edge of the smallest rectangle round the field, clipped to it."""
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(field))
    edges = np.diff(box, axis=0)
    longest = edges[np.argmax(np.hypot(*edges.T))]
    along = longest / np.hypot(*longest)
    across = np.array([along[1], -along[0]])
    corners = shapely.get_coordinates(field)
    t, offset = corners @ along, corners @ across
    offsets = np.arange(offset.min() + row_spacing / 2, offset.max(), row_spacing)
    ends = np.stack([offsets[:, None] * across + t.min() * along, offsets[:, None] * across + t.max() * along], axis=1)
    clipped = shapely.intersection(shapely.linestrings(ends), field)
    parts, of_row = shapely.get_parts(clipped, return_index=True)
    lines = shapely.get_coordinates(parts).reshape(-1, 2, 2)
    start, length = lines[:, 0], shapely.length(parts)
    count = (length / seed_spacing).astype(int) + 1
    index = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    step = (lines[:, 1] - start) / length[:, None] * seed_spacing
    x = np.repeat(start[:, 0], count) + index * np.repeat(step[:, 0], count)
    y = np.repeat(start[:, 1], count) + index * np.repeat(step[:, 1], count)
    return np.repeat(of_row, count), index, x, y


if __name__ == "__main__":
    main(sys.argv[1], float(sys.argv[2]), float(sys.argv[3]), sys.argv[4])
