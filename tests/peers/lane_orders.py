"""lane_orders.py [--seconds S] [--above SHARE] [--ways known|all] PROBLEM.json…: lane orders beside those of OR-tools.

The problems are those that `cargo run -p lanewright-tests --example lane_orders` writes: seconds of ways,
the order that the compiler found and its proven bound. OR-tools' routing solver gets the same seconds of
the ways that are known to be drivable (or of all, where those that nobody planned promise more than they
would keep) and so much time (30 s). Where it finds no order, since most ways are barred, it gets the
compiler's to better, and as much time again. A line a problem; the exit status is 1 where the compiler's order
takes more than the share (1 %) above the best that OR-tools found, or where the bound lies above it.
"""

import argparse
import json
import sys
from pathlib import Path

from ortools.constraint_solver import pywrapcp, routing_enums_pb2

BARRED = 10**9
PER_SECOND = 1000


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=int, default=30)
    parser.add_argument("--above", type=float, default=0.01)
    parser.add_argument("--ways", choices=("known", "all"), default="known")
    parser.add_argument("problems", nargs="+", type=Path)
    options = parser.parse_args()
    failed = False
    for path in options.problems:
        problem = json.loads(path.read_text("utf-8"))
        ours, bound = problem["total_s"], problem["bound_s"]
        best, begun = solved(problem[options.ways], options.seconds), ""
        if best is None:
            best, begun = solved(problem[options.ways], options.seconds, problem["order"]), ", begun from ours"
        above = ours / best - 1 if best > 0 else 0.0
        # Whole milliseconds of each way are rounded.
        slack = len(problem["order"]) / PER_SECOND
        holds = above <= options.above and bound <= best + slack
        failed |= not holds
        print(f"{'ok  ' if holds else 'FAIL'} {path.stem}: {len(problem['order'])} lanes, {ours:.1f} s against {best:.1f} s "
              f"({100 * above:+.2f} %{begun}), bound {bound:.1f} s ({100 * (1 - bound / best) if best else 0:.2f} % below)")
    sys.exit(failed)


def solved(ways, seconds, begin=None):
    """Seconds of the best order, searched for from another if one is given: of each lane's two nodes one is driven."""
    cost = [[BARRED if s is None else round(s * PER_SECOND) for s in row] for row in ways]
    depot = len(cost) - 1
    manager = pywrapcp.RoutingIndexManager(len(cost), 1, depot)
    routing = pywrapcp.RoutingModel(manager)
    transit = routing.RegisterTransitMatrix(cost)
    routing.SetArcCostEvaluatorOfAllVehicles(transit)
    for lane in range(depot // 2):
        pair = [manager.NodeToIndex(2 * lane), manager.NodeToIndex(2 * lane + 1)]
        routing.AddDisjunction(pair, 100 * BARRED, 1)
    how = pywrapcp.DefaultRoutingSearchParameters()
    how.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PATH_CHEAPEST_ARC
    how.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    how.time_limit.FromSeconds(seconds)
    if begin is None:
        found = routing.SolveWithParameters(how)
    else:
        routing.CloseModelWithParameters(how)
        first = routing.ReadAssignmentFromRoutes([begin], True)
        assert first is not None, "the order is no order of these lanes"
        found = routing.SolveFromAssignmentWithParameters(first, how)
    if found is None or found.ObjectiveValue() >= BARRED:
        return None
    return found.ObjectiveValue() / PER_SECOND


if __name__ == "__main__":
    main()
