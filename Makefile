# Everything runs in an environment of its own, .venv, made on first use from constraints.txt.
PYTHON ?= python3
BIN := .venv/bin

.PHONY: help demo test lint check long bench clean

help:
	@echo "make demo   the whole job once, against a simulated meter (about a minute)"
	@echo "make test   the tests"
	@echo "make lint   ruff, mypy, import-linter"
	@echo "make check  lint and test"
	@echo "make long   the tests that take long (torture, soak, ecosystem)"
	@echo "make bench  speed, as ratios to the wire and to other libraries"

.venv/ready: pyproject.toml constraints.txt
	$(PYTHON) -m venv .venv
	$(BIN)/pip install --quiet --disable-pip-version-check --constraint constraints.txt --editable '.[test,check]'
	@touch $@

demo: .venv/ready
	$(BIN)/pipeledger demo

test: .venv/ready
	$(BIN)/pytest -m "not long"

lint: .venv/ready
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

check: lint test

long: .venv/ready
	$(BIN)/pytest -m long

bench: .venv/ready
	$(BIN)/python bench/line.py
	$(BIN)/python bench/startup.py
	$(BIN)/python bench/lateness.py

clean:
	rm -rf .venv build dist *.egg-info
