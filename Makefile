# Two commands on a fresh machine: make demo, make test.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.complete

.PHONY: setup demo test check lint types contract docs bench campaign lock clean

setup: $(STAMP)

$(STAMP): requirements.lock pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --no-deps --no-build-isolation --editable .
	touch $(STAMP)

demo: setup
	$(BIN)/backtospec demo --no-serve

test: setup
	$(BIN)/python -m pytest -n auto -m "not campaign"

check: setup lint types contract docs test

lint: setup
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: setup
	$(BIN)/mypy

contract: setup
	$(BIN)/lint-imports --no-cache

docs: setup
	$(BIN)/sphinx-build --quiet --fail-on-warning -b html docs docs/_build/html

bench: setup
	$(BIN)/python -m tests.benchmark

campaign: setup
	$(BIN)/python -m pytest -m campaign -s

lock: setup
	$(BIN)/python -m pip install --quiet uv
	$(BIN)/uv pip compile --quiet --universal --generate-hashes --no-annotate --no-header \
	  --python-version 3.11 pyproject.toml --group dev -o requirements.lock

clean:
	rm -rf $(VENV) build dist docs/_build demo-bench

# Hold the analysis to a folder of recordings with known truth: make captures FOLDER=…
.PHONY: captures
captures: setup
	$(BIN)/python -m tests.known_captures $(FOLDER)

# The same for meter logs: make logs FOLDER=…
.PHONY: logs
logs: setup
	$(BIN)/python -m tests.known_logs $(FOLDER)
