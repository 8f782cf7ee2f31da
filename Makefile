# Needs Python 3.11 or newer, and make. Every target runs the tools of .venv, made on first use.
PYTHON ?= python3
BIN := .venv/bin
.DEFAULT_GOAL := help
.PHONY: help demo walkthrough test soak check bench schema screenshots bom requirements clean

help:        ## this list
	@sed -n 's/^\([a-z]*\): .*## /make \1\t/p' Makefile

demo: .venv/.run        ## serve the demo scenario until Ctrl-C (PORT=8000, RESET=1 starts over)
	@PORT="$(PORT)" RESET="$(RESET)" exec $(BIN)/python -m embedded demo

walkthrough: .venv/.run ## run the main job over HTTP and tell what happened (WEB=1 WORKERS=1)
	@WEB="$(WEB)" WORKERS="$(WORKERS)" exec $(BIN)/python -m embedded walkthrough

test: .venv/.dev        ## every test, with servers of its own
	$(BIN)/python -m pytest -q -n 2 $(ARGS)

soak: .venv/.dev        ## every test, with the long rounds of races, kills and random trials whole
	SOAK=1 $(BIN)/python -m pytest -q -n 2 $(ARGS)

check: .venv/.dev       ## style, types, import contracts, deployment settings, migrations, templates
	$(BIN)/python -m tests.tooling.check

bench: .venv/.dev       ## the benchmark table (JSON=path writes the rows as JSON lines)
	JSON="$(JSON)" DURABLE=1 $(BIN)/python -m embedded lend $(BIN)/python -m tests.benchmarks

schema: .venv/.dev      ## the snapshot from which an empty database gets its tables
	$(BIN)/python -m embedded lend $(BIN)/python -m tests.tooling.schema

screenshots: .venv/.dev ## the pictures of the README, from the demo scenario
	$(BIN)/python -m embedded lend $(BIN)/python -m tests.browser.screenshots

bom: .venv/.dev         ## the bill of materials of a deployment, CycloneDX, into var/bom.json
	$(BIN)/python -m tests.tooling.supply

requirements: .venv/.dev ## compile requirements*.txt from pyproject.toml
	$(BIN)/python -m tests.tooling.requirements

clean:       ## remove the virtual environment, caches and the demo's data
	rm -rf .venv var staticfiles .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache

.venv/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Portaledger needs Python 3.11 or newer; choose one with PYTHON=python3.12")'
	$(PYTHON) -m venv .venv

.venv/.run: requirements.txt | .venv/bin/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.txt
	@touch $@

.venv/.dev: requirements-dev.txt | .venv/bin/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements-dev.txt
	@touch .venv/.run $@
