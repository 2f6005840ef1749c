# Lanewright: everything that a fresh machine needs, in two commands: `make demo`, `make test`.
#
# Only git, make, a Rust toolchain and root or sudo are assumed. tests/setup.sh looks for what the
# build and the outside readers need, installs what is missing with the system's package manager,
# says what it does, and touches nothing that is there.

.DEFAULT_GOAL := help
.PHONY: help demo test bench check fields schema golden

CARGO ?= cargo
DEMO_JOBS := $(sort $(wildcard demo-jobs/*.toml))
JOB_NAMES := $(basename $(notdir $(DEMO_JOBS)))

help: ## what there is to make
	@grep -hE '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:[^#]*## */\t/' | expand -t 10

demo: ## compile the demo jobs into out/ and name the files to open
	@tests/setup.sh build
	@$(CARGO) run --locked --quiet -p lanewright --bin lanewright -- compile $(DEMO_JOBS) -o out
	@echo
	@echo "Open in a browser (each page holds its map):"
	@for job in $(JOB_NAMES); do echo "  out/$$job/summary.html"; done
	@echo "For the machine: out/<job>/TASKDATA/    for a GIS: out/<job>/plan.geojson, seed-rows.geojson"

test: ## every test: Rust, then the outside readers over the emitted files
	@tests/setup.sh build readers
	@tests/run.sh

bench: ## compile times beside a plain GIS script, both measured in one run
	@tests/setup.sh build readers
	@tests/bench/run.sh

check: ## formatting, lints, documentation
	@tests/setup.sh build
	$(CARGO) fmt --all --check
	$(CARGO) clippy --locked --workspace --all-targets -- -D warnings
	RUSTDOCFLAGS="-D warnings" $(CARGO) doc --locked --workspace --no-deps --document-private-items

fields: ## compile every parcel of FIELDS=parcels.geojson and print the table
	@test -n "$(FIELDS)" || { echo "say which parcels: make fields FIELDS=parcels.geojson"; exit 2; }
	@tests/setup.sh build readers
	$(CARGO) build --locked --release -p lanewright
	@.venv/bin/python tests/real_fields.py --program "$${CARGO_TARGET_DIR:-target}/release/lanewright" "$(FIELDS)"

schema: ## write the published JSON Schemas anew from the types
	UPDATE_SCHEMA=1 $(CARGO) test --locked --quiet -p lanewright-schema schema

golden: ## write the approved outputs of the demo jobs anew; look at `git diff golden` after
	UPDATE_GOLDEN=1 $(CARGO) test --locked --quiet -p lanewright-tests golden
