# Two commands do everything: `make demo` runs the main job, `make test` passes the tests.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

# `make visits` is apart: it wants a machine to itself.
.PHONY: demo test visits check lint docs bench clean

demo: $(VENV)/.installed-demo
	@$(BIN)/pattress demo

test: $(VENV)/.installed-dev
	@./tests/peers/install
	$(BIN)/python -m pytest --ignore tests/closein/test_close_in.py

# The close-in check at every box of the emulated house, through a terminal: minutes of waiting, as root.
visits: $(VENV)/.installed-dev
	$(BIN)/python -m pytest tests/closein

check: lint test

lint: $(VENV)/.installed-dev
	$(BIN)/ruff format --check src tests benchmarks
	$(BIN)/ruff check src tests benchmarks
	$(BIN)/mypy
	$(BIN)/lint-imports

docs: $(VENV)/.installed-dev
	$(BIN)/python -m pattress.report.reference > docs/settings.md

bench: $(VENV)/.installed-dev
	$(BIN)/python -m benchmarks

clean:
	rm -rf $(VENV) .pytest_cache .mypy_cache .ruff_cache dist

$(VENV)/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "Python 3.11 or later is needed; name it: make PYTHON=python3.12 ..." >&2; exit 1; }
	@$(PYTHON) -m venv $(VENV) || { echo "On Debian: apt-get install python3-venv" >&2; exit 1; }

$(VENV)/.installed-demo: pyproject.toml | $(VENV)/bin/python
	@echo "Installing into $(VENV) (once) ..." >&2
	@$(BIN)/python -m pip install --quiet --editable '.[demo]'
	@touch $@

$(VENV)/.installed-dev: pyproject.toml | $(VENV)/bin/python
	@echo "Installing into $(VENV) (once) ..." >&2
	@$(BIN)/python -m pip install --quiet --editable '.[dev]'
	@touch $@ $(VENV)/.installed-demo
