#!/bin/sh
# run.sh: every test, in one profile. Rust tests first; then the demo jobs are compiled with their
# seed files and read back by programs that share no code with the compiler. The last line is
# `N passed, N failed`; the exit status is 0 only if nothing failed and something passed.
set -u
cd "$(dirname "$0")/.."
target="${CARGO_TARGET_DIR:-target}"
log="$target/outside/log"
emitted="$target/outside/demo"
mkdir -p "$target/outside"
rm -rf "$emitted"
: > "$log"

# Runs a command, shows what it says, keeps it for counting; a failing status with no failure
# line of its own counts as one failure.
run() {
    echo; echo "== $1"; shift
    status_file="$target/outside/status"
    { "$@" 2>&1; echo $? > "$status_file"; } | tee "$target/outside/part"
    cat "$target/outside/part" >> "$log"
    if [ "$(cat "$status_file")" != 0 ] && ! grep -qE '^FAIL |^test result: FAILED' "$target/outside/part"; then
        echo "FAIL $*: exit status $(cat "$status_file")" | tee -a "$log"
    fi
}

run "Rust tests" cargo test --locked --workspace --no-fail-fast --quiet
run "demo jobs, with seeds" cargo run --locked --quiet -p lanewright --bin lanewright -- compile demo-jobs/*.toml --seeds -o "$emitted"

python=.venv/bin/python
strict=""
[ -d ../shared/iso11783/xsd ] && strict="--schemas ../shared/iso11783/xsd"
run "formats against their schemas" $python tests/outside/formats.py "$emitted"/*
run "task data against the XML Schemas" $python tests/outside/task_data_schema.py $strict "$emitted"/*
run "task data through PyPI isoxml" $python tests/outside/task_data_isoxml.py "$emitted"/*
run "task data through npm isoxml" node tests/outside/node/task_data.js "$emitted"/*
run "plan and figures through shapely and pyproj" $python tests/outside/plan.py "$emitted"/*
run "fence, by sampled footprints" $python tests/outside/fence.py "$emitted"/*
sown="" weeded=""
for folder in "$emitted"/*; do
    if [ -f "$folder/weed-events.parquet" ]; then weeded="$weeded $folder"; else sown="$sown $folder"; fi
done
run "seed files through pyarrow and geopandas" $python tests/outside/seeds.py $sown
run "treatment zones through shapely and isoxml" $python tests/outside/zones.py $sown
run "rasters of zones written by GDAL" $python tests/outside/rasters.py "$target/debug/lanewright"
run "patterns that no demo job has" $python tests/outside/patterns.py "$target/debug/lanewright"
run "neighbours of two million seeds" $python tests/outside/neighbours.py "$target/debug/lanewright"
run "weeding passes against plants and chance" $python tests/outside/weeding.py $weeded
real=""
[ -d ../shared/fields/formats ] && real="../shared/fields/formats"
run "fields from epoch to epoch through pyproj" $python tests/outside/epochs.py "$target/debug/lanewright"
run "surveys written by GDAL" $python tests/outside/surveys.py "$target/debug/lanewright" $real

awk '
    /^test result:/ { for (i = 1; i <= NF; i++) { if ($(i + 1) ~ /^passed/) passed += $i; if ($(i + 1) ~ /^failed/) failed += $i } }
    /^ok / { passed++ }
    /^FAIL / { failed++ }
    END { printf "\n%d passed, %d failed\n", passed, failed; exit (failed > 0 || passed == 0) }
' "$log"
