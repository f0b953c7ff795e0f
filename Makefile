# Every command a newcomer needs; `make` alone lists them.

PYTHON ?= python3
PIP := .venv/bin/python -m pip --disable-pip-version-check
PYTEST := .venv/bin/pytest --numprocesses 2 --dist loadfile --no-loadscope-reorder # a file's tests share models

.DEFAULT_GOAL := help
.PHONY: help install demo lint test test-all bench bench-install campaign error-bars planted pins clean

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
	$(PYTEST)

test-all: lint ## Lint, then every test, the slow ones too; brings Chromium, to open the report in
	.ci/browser
	$(PYTEST) -m ""

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

bench-install: .venv/.bench ## Add the solvers that `make bench` compares with

# Python 3.11 sets the pins because it is the oldest we support: what it can install, newer ones can.
pins: ## Renew .ci/requirements.txt: the newest versions that work together
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info[:2] != (3, 11))' || \
	    { echo "The pins are made with Python 3.11, the oldest supported: make pins PYTHON=python3.11"; exit 1; }
	$(PYTHON) -m venv --clear .venv-pins
	.venv-pins/bin/pip --disable-pip-version-check install --quiet '.[dev]'
	{ sed -n '/^#/p' .ci/requirements.txt; \
	  .venv-pins/bin/pip freeze --all --exclude pip --exclude setuptools --exclude gapstrain; } > .venv-pins/requirements.txt
	mv .venv-pins/requirements.txt .ci/requirements.txt
	rm -rf .venv-pins

clean: ## Remove .venv, caches and results
	rm -rf .venv .venv-pins .hypothesis .mypy_cache .pytest_cache .ruff_cache build dist
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
	$(PIP) install --quiet --no-compile --requirement .ci/requirements.txt
	-.venv/bin/python -m compileall -q -q -j 0 .venv/lib # by all cores; pip compiles with one
	$(PIP) install --quiet --no-deps --no-build-isolation --editable .
	@touch $@

.venv/.system-libraries: .ci/system-libraries .venv/.packages
	.ci/system-libraries
	@touch $@

.venv/.bench: .venv/.system-libraries
	$(PIP) install --quiet --no-build-isolation --constraint .ci/requirements.txt --editable '.[bench]'
	@touch $@
