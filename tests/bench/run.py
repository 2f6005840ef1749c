"""run.py LANEWRIGHT ROUNDS: compile times of a 20 ha field beside tests/peers/plain_gis.py.

Both are whole processes, started in turn; of each the quickest round counts, since whatever else
the machine does only adds to it. Peak memory is the largest of all rounds. Targets: without the
seed file under a third of the script's time at 2.2 million seeds; with it under a fifth at
16 million, in less than 512 MiB, and a smaller file, under 4 bytes a seed. Seeds placed and streamed, the time
for the same plan without them taken off: 20 million a second on two cores; 50 million of them, the dense
lattice with its seeds closer in the row, in less than 256 MiB. A weeding order between 2.2 million plants, its
events written, in under half a second.
"""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pyarrow.parquet

HERE = Path(__file__).resolve().parent
PEER = HERE.parent / "peers" / "plain_gis.py"
LATTICES = {"20-ha-wide": (0.5, 0.18), "20-ha-dense": (0.25, 0.05)}
DENSE, DENSEST = 'between_seeds = "5 cm"', 'between_seeds = "1.6 cm"'


def main(lanewright, rounds):
    with tempfile.TemporaryDirectory() as folder:
        results = {job: measure(lanewright, job, Path(folder), rounds) for job in LATTICES}
        densest = measure_densest(lanewright, Path(folder))
        weeding = measure_weeding(lanewright, Path(folder), rounds)
    for job, result in results.items():
        tell(job, result)
    print(f"\n20-ha-wide-weeding: {weeding['s']:.2f} s, {weeding['cpu']:.2f} s of processors, {weeding['MiB']:.0f} MiB, events {weeding['MB']:.1f} MB")
    print(f"20-ha-dense at 1.6 cm: {densest['seeds'] / 1e6:.1f} million seeds in {densest['s']:.2f} s, {densest['MiB']:.0f} MiB, {densest['MB']:.1f} MB")
    wide, dense = results["20-ha-wide"], results["20-ha-dense"]
    streaming = dense["seeds"]["s"] - dense["plain"]["s"]
    print("\nTargets")
    target("2.2 million, no seed file: time against the script's", wide["plain"]["s"] / wide["peer"]["s"], 1 / 3)
    target("16 million, seed file: time against the script's", dense["seeds"]["s"] / dense["peer"]["s"], 1 / 5)
    target("16 million, seed file: peak memory, MiB", dense["seeds"]["MiB"], 512)
    target("16 million, seed file: bytes a seed", dense["seeds"]["MB"] * 1e6 / dense["seeds"]["seeds"], 4)
    target("seeds placed and streamed: seconds for 20 million", streaming * 20e6 / dense["seeds"]["seeds"], 1)
    target("50 million, seed file: peak memory, MiB", densest["MiB"], 256)
    target("2.2 million plants, weeding order: seconds", weeding["s"], 0.5)
    target("16 million: size of the file against the script's", dense["seeds"]["MB"] / dense["peer"]["MB"], 1)


def measure(lanewright, job, folder, rounds):
    row_spacing, seed_spacing = LATTICES[job]
    file = HERE / f"{job}.toml"
    peer_out = folder / "peer.parquet"
    out = folder / "out"
    commands = {
        "plain": ([lanewright, "compile", str(file), "--out", str(out)], out / job / "plan.geojson"),
        "seeds": ([lanewright, "compile", str(file), "--out", str(out), "--seeds"], out / job / "seeds.parquet"),
        "peer": (
            [sys.executable, str(PEER), str(HERE / "20-ha.geojson"), str(row_spacing), str(seed_spacing), str(peer_out)],
            peer_out,
        ),
    }
    best = {}
    for _ in range(rounds):
        for name, (command, product) in commands.items():
            best[name] = better(timed(command, product), best.get(name))
    best["seeds"]["seeds"] = rows(commands["seeds"][1])
    return best


def measure_densest(lanewright, folder):
    """Once: what counts is the memory."""
    text = (HERE / "20-ha-dense.toml").read_text("utf-8")
    assert DENSE in text
    job = folder / "20-ha-densest.toml"
    job.write_text(text.replace(DENSE, DENSEST), "utf-8")
    (folder / "20-ha.geojson").write_bytes((HERE / "20-ha.geojson").read_bytes())
    product = folder / "out" / job.stem / "seeds.parquet"
    took = timed([lanewright, "compile", str(job), "--out", str(folder / "out"), "--seeds"], product)
    return {**took, "seeds": rows(product)}


def rows(product):
    return pyarrow.parquet.ParquetFile(product).metadata.num_rows


def measure_weeding(lanewright, folder, rounds):
    """From the folder that the last compile of the wide lattice left."""
    job = folder / "20-ha-wide-weeding.toml"
    job.write_bytes((HERE / job.name).read_bytes())
    out = folder / "weeding"
    best = None
    for _ in range(rounds):
        took = timed([lanewright, "compile", str(job), "--out", str(out)], out / job.stem / "weed-events.parquet")
        best = better(took, best)
    return best


def better(took, before):
    before = before or took
    return {
        "s": min(before["s"], took["s"]),
        "cpu": min(before["cpu"], took["cpu"]),
        "MiB": max(before["MiB"], took["MiB"]),
        "MB": took["MB"],
    }


def timed(command, product):
    start = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    words = process.stderr.read()
    _, status, usage = os.wait4(process.pid, 0)
    took = time.perf_counter() - start
    if status != 0:
        raise SystemExit(f"{' '.join(command)}\n{words}")
    # Linux counts the largest resident set in KiB, macOS in bytes.
    per_mib = 1024 if sys.platform.startswith("linux") else 1024 * 1024
    size = product.stat().st_size / 1e6
    return {"s": took, "cpu": usage.ru_utime + usage.ru_stime, "MiB": usage.ru_maxrss / per_mib, "MB": size}


def tell(job, result):
    row_spacing, seed_spacing = LATTICES[job]
    print(f"\n{job}: {row_spacing} m between rows, {seed_spacing} m between seeds")
    print(f"  {'':28}{'time':>9}{'processor':>11}{'memory':>10}{'file':>10}{'ratio':>8}")
    names = {"plain": "compile", "seeds": "compile --seeds", "peer": "plain GIS script"}
    for key, name in names.items():
        r = result[key]
        ratio = r["s"] / result["peer"]["s"]
        print(f"  {name:28}{r['s']:>7.2f} s{r['cpu']:>9.2f} s{r['MiB']:>6.0f} MiB{r['MB']:>7.1f} MB{ratio:>8.3f}")


def target(what, found, limit):
    print(f"  {'reached' if found < limit else 'MISSED':8} {what}: {found:.3f}, to be below {limit:.3f}")


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
