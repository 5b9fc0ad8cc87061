# Everything runs in an environment of its own, .venv, made on first use from constraints.txt.
PYTHON ?= python3
BIN := .venv/bin

.PHONY: help demo test lint check long bench schema clean

help:
	@echo "make demo   the whole job once, against a simulated meter (about a minute)"
	@echo "make test   the tests"
	@echo "make lint   ruff, mypy, import-linter"
	@echo "make check  lint and test"
	@echo "make long   the tests that take long (torture, soak, ecosystem)"
	@echo "make bench  speed, as ratios to the wire and to other libraries; values misfiled on a bad line; a year's archive"
	@echo "make schema renew docs/schema after a change of the map's or point's keys"

INSTALL := $(BIN)/pip install --quiet --disable-pip-version-check --constraint constraints.txt --editable

.venv/installed: pyproject.toml constraints.txt
	$(PYTHON) -m venv .venv
	$(INSTALL) .
	@touch $@

.venv/ready: .venv/installed
	$(INSTALL) '.[test,check]'
	@touch $@

demo: .venv/installed
	$(BIN)/pipeledger demo

test: .venv/ready
	$(BIN)/pytest -m "not long"

lint: .venv/ready
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

check: lint test

.venv/long: .venv/ready
	$(INSTALL) '.[long]'
	@touch $@

long: .venv/long
	$(BIN)/pytest -m long

bench: .venv/ready
	$(BIN)/python bench/line.py
	$(BIN)/python bench/startup.py
	$(BIN)/python bench/faults.py
	$(BIN)/python bench/memory.py
	$(BIN)/python bench/archive.py
	$(BIN)/python bench/audit.py
	$(BIN)/python bench/ledger.py
	$(BIN)/python bench/lateness.py

schema: .venv/ready
	$(BIN)/python -c "import json; from protocols.register_map.grammar import map_schema; print(json.dumps(map_schema(), indent=2))" > docs/schema/register-map.schema.json
	$(BIN)/python -c "import json; from readout.measuring_point.grammar import point_schema; print(json.dumps(point_schema(), indent=2))" > docs/schema/measuring-point.schema.json
	$(BIN)/python -c "import json; from readout.measuring_point.grammar import job_schema; print(json.dumps(job_schema(), indent=2))" > docs/schema/job.schema.json

clean:
	rm -rf .venv build dist *.egg-info
