# make demo     the invented shop on a local page
# make test     everything that is checked: format, lint, types, the house, the tests
# make picture  the pictures of the README and the pages, from the open truck of the demo
# make env      only the environment: .venv/bin/witnessmark
# make check    format, lint, types, imports: under a minute
# make coverage what of each room the tests run: make coverage TESTS=tests/units
# make slowest  the whole suite, and its fifty slowest tests
# make docs     the documentation as a site, in build/site: open build/site/index.html
# make dist     the wheel, its licences and its bill of materials, in dist/
# make locks    the locks anew (needs uv): make locks UPGRADE=--upgrade
# make pythons  the tests on every Python of this machine (needs uv)
# make outside  the wheel on every Python of this machine, outside this folder (needs uv)

VENV := .venv
PY := $(VENV)/bin/python
BASE := $(VENV)/.base
FULL := $(VENV)/.full
WORKERS ?= 2
LOOKED_AT := src tests benchmarks studies release docs/site notebooks
export OMP_NUM_THREADS ?= 1
export OPENBLAS_NUM_THREADS ?= 1

.PHONY: demo test picture env test-env coverage slowest docs dist locks outside pythons check system clean

demo: $(BASE)
	$(VENV)/bin/witnessmark demo

# Types are read by one core alone: the tests go on beside it. What was found is told at the end.
CHECKED := $(VENV)/checked.txt
test:
	@$(MAKE) --no-print-directory -j 2 $(FULL) system
	@$(MAKE) --no-print-directory check > $(CHECKED) 2>&1 & checked=$$!; \
	$(PY) -m pytest -n $(WORKERS) --dist loadfile --no-loadscope-reorder; tests=$$?; \
	wait $$checked; check=$$?; cat $(CHECKED); exit $$((tests ? tests : check))

picture: $(FULL) system
	WITNESSMARK_PICTURES=docs/pictures $(PY) -m pytest -q tests/web/test_readme_picture.py

check: $(FULL)
	$(VENV)/bin/ruff format --check $(LOOKED_AT)
	$(VENV)/bin/ruff check $(LOOKED_AT)
	$(VENV)/bin/mypy
	$(VENV)/bin/lint-imports

# Only where it is asked for: measuring makes the suite slower.
TESTS ?= tests
coverage: $(FULL) system
	@rm -f .coverage .coverage.*
	$(PY) -m coverage run -m pytest -q -p no:cacheprovider $(TESTS)
	@$(PY) -m coverage combine -q
	$(PY) release/coverage_by_room.py

slowest: $(FULL) system
	$(PY) -m pytest -q -n $(WORKERS) --dist loadfile --durations=50 --durations-min=1 $(TESTS)

env: $(BASE)

test-env: $(FULL)

# uv where it is installed, otherwise the standard venv and pip; versions and the files themselves
# (by their hashes) are locked either way, the tool that builds the package too.
PIP = $$(if command -v uv >/dev/null 2>&1; then echo uv pip install -q --python $(PY); \
	else echo $(PY) -m pip install -q --disable-pip-version-check; fi)
LOCKED = $(PIP) --no-deps --require-hashes

$(BASE): requirements/build.lock requirements/run.lock pyproject.toml
	@test -x $(PY) || if command -v uv >/dev/null 2>&1; then uv venv -q $(VENV); \
		else python3 -m venv $(VENV); fi
	@$(LOCKED) -r requirements/build.lock -r requirements/run.lock
	@$(PIP) --no-deps --no-build-isolation -e .
	@touch $@

$(FULL): $(BASE) requirements/test.lock requirements/docs.lock
	@$(LOCKED) -r requirements/test.lock -r requirements/docs.lock
	@touch $@

docs: $(FULL)
	$(PY) docs/site/commands.py
	$(PY) -m sphinx -q -W --keep-going -c docs/site -b html . build/site
	@cp docs/site/front.html build/site/index.html
	$(PY) docs/site/check.py build/site

dist: $(FULL)
	$(PY) release/licences.py --check
	@rm -rf build dist
	$(PY) -W ignore -c "from setuptools import build_meta as b; b.build_wheel('dist')" >/dev/null
	$(PY) release/sbom.py dist/witnessmark-*.whl dist/witnessmark.cdx.json
	@ls -l dist

locks:
	python3 release/locks.py $(UPGRADE)

pythons: $(FULL)
	$(PY) release/pythons.py --write $(filter-out tests,$(TESTS))

outside: $(FULL)
	$(PY) release/outside.py --write

# The tests drive Debian's chromium, its firefox for the queue, and a PostgreSQL of their own; where these cannot be
# installed their tests skip, loudly.
SYSTEM := chromium postgresql poppler-utils fonts-dejavu-core firefox-esr libnss3-tools webkit2gtk-driver xvfb
system:
	@if command -v chromium >/dev/null 2>&1 && command -v pdftoppm >/dev/null 2>&1 && \
		command -v firefox-esr >/dev/null 2>&1 && command -v WebKitWebDriver >/dev/null 2>&1 && \
		command -v Xvfb >/dev/null 2>&1 && command -v certutil >/dev/null 2>&1 && \
		ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1; then :; \
	elif [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then \
		apt-get update -q >/dev/null && \
		DEBIAN_FRONTEND=noninteractive apt-get install -y -q $(SYSTEM) >/dev/null || \
		echo "!! chromium or PostgreSQL could not be installed: their tests will be skipped"; \
	else \
		echo "!! chromium or PostgreSQL is missing and this is not root: their tests will be skipped"; \
	fi

clean:
	rm -rf $(VENV) build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis
