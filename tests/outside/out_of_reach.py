"""What soil no pose of the tool bar inside the fence can reach: a bound for what a plan leaves.

In: a fence (shapely, ground metres) and the machine of a manifest. Out: square metres. For each of
many headings the fence is eroded by body and antennas, which leaves where the reference point may
be, and what is left is swept by the tool bar; the union over all headings is within reach. Fewer
headings than there are would make the bound too large by slivers: besides one every few degrees,
those along the fence's edges are looked at. It asks for one pose, not for a lane to it: no way need
lead there and back, and a row may be as short as a point.
"""

import numpy as np
import shapely

EVERY_DEGREES = 7.5
SHORTEST_EDGE_M = 4.0
MOST_EDGES = 60


def out_of_reach_m2(fence, machine, headings=()):
    return max(0.0, fence.area - within_reach(fence, machine, headings).area)


def within_reach(fence, machine, headings=()):
    body = np.array(machine["body_m"] + machine["antennas_m"])
    rows = np.array(machine["row_offsets_m"])
    half = (rows[-1] - rows[0]) / (2 * (len(rows) - 1))
    bar = np.array([[machine["tool_x_m"], rows[0] - half], [machine["tool_x_m"], rows[-1] + half]])
    # Simplified inwards, so that a fence with thousands of corners takes no longer than others.
    fence = fence.buffer(-0.01).simplify(0.01) if shapely.get_num_coordinates(fence) > 400 else fence
    swept = [
        dilated(eroded(fence, turned(body, angle)), turned(bar, angle))
        for angle in angles(fence, headings)
    ]
    return shapely.intersection(shapely.union_all(swept), fence)


def angles(fence, headings):
    """Radians, counter-clockwise from east."""
    edges = np.concatenate([np.diff(shapely.get_coordinates(ring), axis=0) for ring in rings(fence.simplify(0.3))])
    edges = edges[np.hypot(*edges.T) > SHORTEST_EDGE_M]
    longest = edges[np.argsort(-np.hypot(*edges.T))][:MOST_EDGES]
    along = np.degrees(np.arctan2(longest[:, 1], longest[:, 0]))
    ways = np.concatenate([np.arange(0, 180, EVERY_DEGREES), along, 90 - np.asarray(headings, dtype=float)])
    return np.radians(np.unique(np.round(np.concatenate([ways, ways + 180]) % 360, 1)))


def turned(points, angle):
    """From metres forward and to the right to ground metres about the reference point."""
    forward, right = points.T
    sin, cos = np.sin(angle), np.cos(angle)
    return np.column_stack([forward * cos + right * sin, forward * sin - right * cos])


def eroded(region, body):
    """Where the reference point may be with the whole body inside."""
    at_first = shapely.transform(region, lambda at: at - body[0])
    return at_first.difference(shapely.union_all(edges_swept(region, -body)))


def dilated(region, shape):
    """What a convex shape covers while its reference point is in the region."""
    if region.is_empty:
        return region
    ends = [shapely.transform(region, lambda at, corner=corner: at + corner) for corner in shape]
    return shapely.union_all([*ends, *edges_swept(region, shape)])


def edges_swept(region, shape):
    hulls = []
    for ring in rings(region):
        at = shapely.get_coordinates(ring)
        both = np.stack([at[:-1, None, :] + shape, at[1:, None, :] + shape], axis=1)
        hulls.append(shapely.convex_hull(shapely.multipoints(both.reshape(len(at) - 1, -1, 2))))
    return np.concatenate(hulls) if hulls else np.array([])


def rings(region):
    for part in shapely.get_parts(region):
        if part.geom_type == "Polygon" and not part.is_empty:
            yield part.exterior
            yield from part.interiors
