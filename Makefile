# make demo   the invented shop on a local page
# make test   everything that is checked: format, lint, types, the house, the tests
# make env    only the environment: .venv/bin/witnessmark

VENV := .venv
PY := $(VENV)/bin/python
BASE := $(VENV)/.base
FULL := $(VENV)/.full
WORKERS ?= 2
export OMP_NUM_THREADS ?= 1
export OPENBLAS_NUM_THREADS ?= 1

.PHONY: demo test env test-env check browser clean

demo: $(BASE)
	$(VENV)/bin/witnessmark demo

test: $(FULL) browser check
	$(PY) -m pytest -n $(WORKERS) --dist loadfile

check: $(FULL)
	$(VENV)/bin/ruff format --check src tests benchmarks studies
	$(VENV)/bin/ruff check src tests benchmarks studies
	$(VENV)/bin/mypy
	$(VENV)/bin/lint-imports

env: $(BASE)

test-env: $(FULL)

# uv where it is installed, otherwise the standard venv and pip; versions are locked either way.
$(BASE): requirements/run.lock pyproject.toml
	@if command -v uv >/dev/null 2>&1; then \
		test -x $(PY) || uv venv -q $(VENV); \
		uv pip install -q --no-deps --python $(PY) -r requirements/run.lock && \
		uv pip install -q --no-deps --python $(PY) -e .; \
	else \
		test -x $(PY) || python3 -m venv $(VENV); \
		$(PY) -m pip install -q --disable-pip-version-check --no-deps -r requirements/run.lock && \
		$(PY) -m pip install -q --disable-pip-version-check --no-deps -e .; \
	fi
	@touch $@

$(FULL): $(BASE) requirements/test.lock
	@if command -v uv >/dev/null 2>&1; then \
		uv pip install -q --no-deps --python $(PY) -r requirements/test.lock; \
	else \
		$(PY) -m pip install -q --disable-pip-version-check --no-deps -r requirements/test.lock; \
	fi
	@touch $@

# Browser tests drive Debian's chromium; where it cannot be installed they skip, loudly.
browser:
	@command -v chromium >/dev/null 2>&1 || { \
		if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then \
			apt-get update -q >/dev/null && \
			apt-get install -y -q chromium fonts-dejavu-core >/dev/null || \
			echo "!! chromium could not be installed: the browser tests will be skipped"; \
		else \
			echo "!! no chromium and no root: the browser tests will be skipped"; \
		fi; }

clean:
	rm -rf $(VENV) build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis
