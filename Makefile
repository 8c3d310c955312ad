# Everything a person types. `make demo` and `make test` set up all they need by themselves.
SHELL := /bin/bash
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
JOBS ?= 2

.PHONY: help demo demo-reset test test-fast lint types lock bench-ear bench-eye bench-music fuzz clean

help:
	@echo "make demo         set up and start the whole portal with the invented demo call"
	@echo "make demo-reset   forget the demo's data and start over"
	@echo "make test         set up and run every test, the linters and the type checker"
	@echo "make test-fast    the tests without browser and services"
	@echo "make bench-ear    the ear beside general libraries, one run"
	@echo "make bench-eye    cost of the eye as a ratio to a full decode, and its confusion table"
	@echo "make fuzz         10,000 hostile inputs"
	@echo "make lock         write the lock files anew from pyproject.toml"

$(VENV)/run.stamp: requirements.lock
	@echo "Making the virtual environment in $(VENV) and installing the pinned packages (about a minute) ..."
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	@touch $@

$(VENV)/test.stamp: requirements-test.lock $(VENV)/run.stamp
	@echo "Installing what the tests need ..."
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements-test.lock
	@touch $@

$(VENV)/frontend.stamp: package.json package-lock.json $(VENV)/run.stamp
	@echo "Getting the front-end files ..."
	@$(BIN)/python manage.py fetch_frontend
	@touch $@

demo: $(VENV)/run.stamp $(VENV)/frontend.stamp
	@exec $(BIN)/python manage.py demo

demo-reset: $(VENV)/run.stamp $(VENV)/frontend.stamp
	@exec $(BIN)/python manage.py demo --reset

test: $(VENV)/test.stamp $(VENV)/frontend.stamp
	@bash tests/needs.sh
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/python -m pytest -n $(JOBS) --dist worksteal

test-fast: $(VENV)/test.stamp
	$(BIN)/python -m pytest -n $(JOBS) --dist worksteal -m "not browser and not service"

lint: $(VENV)/test.stamp
	$(BIN)/ruff check .

types: $(VENV)/test.stamp
	$(BIN)/mypy

bench-ear: $(VENV)/test.stamp
	@$(BIN)/python manage.py bench_ear

bench-eye: $(VENV)/test.stamp
	@$(BIN)/python manage.py bench_eye

fuzz: $(VENV)/test.stamp
	@$(BIN)/python manage.py fuzz

lock: $(VENV)/run.stamp
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check uv
	$(BIN)/uv pip compile -q --universal --generate-hashes --no-emit-index-url --no-header --python-version 3.11 pyproject.toml -o requirements.lock
	$(BIN)/uv pip compile -q --universal --generate-hashes --no-emit-index-url --no-header --python-version 3.11 --extra test pyproject.toml -o requirements-test.lock

clean:
	rm -rf $(VENV) var node_modules static-built
