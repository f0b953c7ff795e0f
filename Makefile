# Every command a newcomer needs; `make` alone lists them.

PYTHON ?= python3
OLDEST ?= python3.11 # the oldest Python that pyproject.toml allows
NEWEST ?= python3.13 # the newest that was tried
PIP := bin/python -m pip --disable-pip-version-check
PROCESSES ?= 2
PYTEST := bin/pytest --numprocesses $(PROCESSES) --dist loadfile --no-loadscope-reorder # a file's tests share models

.DEFAULT_GOAL := help
.PHONY: help install demo lint test test-all test-oldest test-newest wheel-check bench bench-install campaign \
    error-bars planted hostile kills pins pins-oldest pins-newest clean

help: ## List these targets
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "  make %-14s %s\n", $$1, $$2 }' Makefile

install: .venv/.system-libraries ## Make .venv from the pinned versions, with the libraries it needs

demo: install ## Run the small study configs/demo.toml into results/demo
	.venv/bin/gapstrain run configs/demo.toml --out results/demo

lint: install ## Style, format and types
	.venv/bin/ruff check .
	.venv/bin/ruff format --check .
	.venv/bin/mypy

test: lint ## Lint, then the quick tests: what CI runs
	.venv/$(PYTEST)

test-all: lint ## Lint, then every test, the slow ones too; brings Chromium, to open the report in
	.ci/browser
	.venv/$(PYTEST) -m ""

test-oldest: .venv-oldest/.system-libraries ## The quick tests on the oldest libraries that pyproject.toml allows
	NUMBA_CACHE_DIR=$(CURDIR)/.venv-oldest/compiled .venv-oldest/$(PYTEST)

test-newest: .venv-newest/.system-libraries ## The quick tests on the newest libraries and the newest Python
	NUMBA_CACHE_DIR=$(CURDIR)/.venv-newest/compiled .venv-newest/$(PYTEST)

wheel-check: install ## Build the wheel, install it into an empty place, and use it there
	.ci/wheel $(PYTHON)

bench: bench-install ## Measure our solver against others, the engine, and the report
	.venv/bin/python -m tests.bench
	.venv/bin/python -m tests.bench.case
	.venv/bin/python -m tests.bench.engine
	.venv/bin/python -m tests.bench.report
	.venv/bin/python -m tests.bench.scale --cases 500
	.venv/bin/python -m tests.bench.twins plate nail-10

campaign: install ## Mesh 300 random constructs: half an hour on two cores
	.venv/bin/python -m tests.campaign

error-bars: install ## Hold error bars from one mesh against finer meshes: an hour and a half
	.venv/bin/python -m tests.error_bars

planted: install ## Put each fault of tests/planted into a copy, and see that the quick tests find it
	.venv/bin/python -m tests.planted

hostile: install ## Send changed input through every door, 400 times each: some minutes
	.venv/bin/python -m tests.hostile

kills: install ## Kill small runs at 50 random moments, and see that their tables come out the same
	.venv/bin/python -m tests.kills

bench-install: .venv/.bench ## Add the solvers that `make bench` compares with

# Python 3.11 sets the pins because it is the oldest we support: what it can install, newer ones can.
pins: ## Renew .ci/requirements.txt: the newest versions that work together on the oldest Python
	.ci/pins requirements.txt $(OLDEST)

pins-oldest: ## Renew .ci/oldest.txt: each library at the lower bound that pyproject.toml gives it
	.ci/pins oldest.txt $(OLDEST)

pins-newest: ## Renew .ci/newest.txt: the newest versions that work together on the newest Python
	.ci/pins newest.txt $(NEWEST)

clean: ## Remove .venv, caches and results
	rm -rf .venv .venv-* .hypothesis .mypy_cache .pytest_cache .ruff_cache build dist
	find . -name __pycache__ -prune -exec rm -rf {} +
	find results -mindepth 1 ! -path results/.gitkeep -delete

# The stamps below let a second `make` start at once. pip appears last in a new .venv,
# so its presence says that the .venv is whole.
.venv/bin/pip:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || \
	    { echo "gapstrain needs Python 3.11 or newer, and $(PYTHON) is not. If you have one, name it: make install PYTHON=python3.12"; exit 1; }
	@$(PYTHON) -c 'import ensurepip, venv' 2>/dev/null || \
	    { echo "$(PYTHON) cannot make a virtual environment. On Debian or Ubuntu: sudo apt-get install python3-venv"; exit 1; }
	$(PYTHON) -m venv --clear .venv

.venv/.packages: .ci/requirements.txt pyproject.toml | .venv/bin/pip
	$(packages)

.venv-oldest/.packages: .ci/oldest.txt pyproject.toml
	$(OLDEST) -m venv --clear $(@D)
	$(packages)

.venv-newest/.packages: .ci/newest.txt pyproject.toml
	$(NEWEST) -m venv --clear $(@D)
	$(packages)

define packages
$(@D)/$(PIP) install --quiet --no-compile --requirement $<
-$(@D)/bin/python -m compileall -q -q -j 0 $(@D)/lib # by all cores; pip compiles with one
$(@D)/$(PIP) install --quiet --no-deps --no-build-isolation --editable .
@touch $@
endef

%/.system-libraries: .ci/system-libraries %/.packages
	.ci/system-libraries $(@D)
	@touch $@

.venv/.bench: .venv/.system-libraries
	.venv/$(PIP) install --quiet --no-build-isolation --constraint .ci/requirements.txt --editable '.[bench]'
	@touch $@
