#!/bin/sh
# Times the release build beside a plain GIS script: tests/bench/run.sh [ROUNDS]
set -eu
cd "$(dirname "$0")/../.."
"${CARGO:-cargo}" build --release --locked --package lanewright
target=$("${CARGO:-cargo}" metadata --format-version 1 --no-deps --locked | sed 's/.*"target_directory":"\([^"]*\)".*/\1/')
exec "${PYTHON:-.venv/bin/python}" tests/bench/run.py "$target/release/lanewright" "${1:-3}"
