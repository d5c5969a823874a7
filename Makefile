# All one needs is make and Python 3.11 or newer. `make` alone says what there is.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
INSTALLED := $(VENV)/.installed
# What tells pip to be quiet and to take nothing but what the lock file names.
PIP := $(BIN)/python -m pip --disable-pip-version-check --no-input

# Those that squawk looks at; the first three landed before it did and are never edited.
MIGRATIONS := $(filter-out migrations/sql/0001% migrations/sql/0002% migrations/sql/0003%,\
	$(wildcard migrations/sql/*.sql))

.DEFAULT_GOAL := help
.PHONY: help install demo demo-reset test check format bench openapi client example fuzz lint-openapi image lock clean

help: ## What there is
	@awk 'BEGIN { FS = ":.*## " } /^[a-z-]+:.*## / { printf "  make %-12s %s\n", $$1, $$2 }' Makefile

install: $(INSTALLED) ## Make .venv with exactly what requirements.lock names

$(INSTALLED): requirements.lock pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { \
		echo "Python 3.11 or newer is needed; $(PYTHON) is $$($(PYTHON) --version 2>&1)." >&2; \
		echo "Name another one: make PYTHON=/path/to/python3" >&2; exit 1; }
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV) || { rm -rf $(VENV); \
		echo "Python's venv module is missing (on Debian and Ubuntu: apt install python3-venv)." >&2; \
		exit 1; }
	@echo "Installing into $(VENV) ..."
	@$(PIP) install --quiet --require-hashes --no-deps -r requirements.lock
	@$(PIP) install --quiet --no-deps --no-build-isolation -e .
	@touch $@

demo: $(INSTALLED) ## Run everything with an invented nursery; Ctrl-C ends it, the data stays
	@exec $(BIN)/graftlog demo $(ARGS)

demo-reset: $(INSTALLED) ## Clear the demo's data
	@exec $(BIN)/graftlog demo --reset $(ARGS)

test: $(INSTALLED) ## Run the tests on a PostgreSQL of their own (ARGS="-k pool" for some)
	@$(BIN)/python -m pytest --numprocesses auto --dist loadgroup $(ARGS)

check: $(INSTALLED) ## Style, types, direction of imports, migrations, drift of openapi.json and client
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports --no-logo
	$(BIN)/squawk $(MIGRATIONS)
	$(BIN)/graftlog openapi --check
	cd openapi/client && $(CURDIR)/$(BIN)/python -m client_writer --check

format: $(INSTALLED) ## Put the style right
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

bench: $(INSTALLED) ## Measure: ratios from one run on this machine
	@$(BIN)/python -m tests.bench $(ARGS)

openapi: $(INSTALLED) ## Write openapi/openapi.json anew
	@$(BIN)/graftlog openapi

client: $(INSTALLED) ## Write the client's generated half anew, from openapi/openapi.json
	@cd openapi/client && $(CURDIR)/$(BIN)/python -m client_writer

example: $(INSTALLED) ## The life of an order, with the client, against a demo that is up (KEY=its key)
	@PYTHONPATH=openapi/client $(BIN)/python openapi/examples/order_life.py \
		$(or $(URL),http://127.0.0.1:8080) $(KEY)

fuzz: $(INSTALLED) ## Hold the service to its description for long (N=200: requests an operation)
	@GRAFTLOG_FUZZ=$(or $(N),100) $(BIN)/python -m pytest --show-capture=no \
		tests/api/test_described.py $(ARGS)

lint-openapi: $(INSTALLED) ## Hold the interface's description to two linters (needs npx, fetches them)
	@file=$$(mktemp --suffix=.json) && trap 'rm -f "$$file"' EXIT \
		&& $(BIN)/graftlog openapi --file "$$file" >/dev/null \
		&& npx --yes @stoplight/spectral-cli@6.16.3 lint --fail-severity=hint \
			--ruleset openapi/spectral.yaml "$$file" \
		&& npx --yes @redocly/cli@2.77.0 lint --config openapi/redocly.yaml "$$file"

image: ## Build the container image `graftlog` (needs docker)
	docker build -f docker/Dockerfile -t graftlog .

lock: $(INSTALLED) ## Write requirements.lock anew, with hashes and without addresses (needs uv)
	uv pip compile pyproject.toml --group dev --universal --generate-hashes --no-annotate \
		--no-header --upgrade -o requirements.lock

clean: ## Remove .venv and caches; no data
	rm -rf $(VENV) .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache build
