# make demo   the main job on the sample scans        make lint     ruff and mypy
# make test   every test                              make bench    speed and memory, as ratios
# make coverage  every test, and which lines none reaches (slower by two fifths)
# make gallery  docs/gallery.md: before, after, truth
# make sbom   bill of materials (CycloneDX)           make quality  colour, text, outline and safety figures
# make pip-audit  known vulnerabilities of what users install (needs the network)
SHELL := /bin/bash
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test coverage lint bench quality gallery lock samples sbom pip-audit clean

demo: .stamps/ready
	@"$(BIN)/surrogate" demo demo || [ $$? -eq 1 ]

test: .stamps/dev
	@"$(BIN)/python" -m pytest -n 4 --dist loadfile --no-loadscope-reorder

coverage: .stamps/dev
	@"$(BIN)/python" -m pytest -n 4 --dist loadfile --no-loadscope-reorder --cov --cov-report=term:skip-covered

lint: .stamps/dev
	@"$(BIN)/ruff" check . && "$(BIN)/ruff" format --check . && "$(BIN)/mypy"

bench: .stamps/dev
	@for script in tests/benchmarks/bench_*.py; do echo "== $$script"; "$(BIN)/python" "$$script" || exit 1; done

quality: .stamps/dev demo
	@for script in tests/benchmarks/quality_*.py; do echo "== $$script"; "$(BIN)/python" "$$script" || exit 1; done

gallery: .stamps/dev demo
	@"$(BIN)/python" tests/make_gallery.py demo docs

samples: .stamps/dev
	@"$(BIN)/python" tests/make_sample_scans.py

# extras stay beside their pins: pip looks for a bare coverage[toml] among all versions and stops at one without a hash
lock: .stamps/dev
	@"$(BIN)/uv" pip compile -q --universal --no-strip-extras --generate-hashes --python-version 3.11 --no-emit-index-url --all-extras \
	    --custom-compile-command "make lock" pyproject.toml .lock/build.in -o .lock/all.txt
	@"$(BIN)/uv" pip compile -q --universal --no-strip-extras --generate-hashes --python-version 3.11 --no-emit-index-url \
	    --extra desk --custom-compile-command "make lock" -c .lock/all.txt pyproject.toml .lock/build.in -o .lock/run.txt

sbom: .stamps/dev
	@PYTHONWARNINGS=ignore "$(BIN)/cyclonedx-py" requirements .lock/run.txt --pyproject pyproject.toml --mc-type application \
	    --output-reproducible --of JSON -o sbom.cdx.json && echo sbom.cdx.json

pip-audit: .stamps/dev
	@"$(BIN)/pip-audit" --strict --require-hashes --disable-pip -r .lock/run.txt || { \
	    echo "Not clean, or the service that knows of vulnerabilities could not be asked: see docs/safety.md." >&2; exit 1; }

.stamps/tools: .lock/tools.sh
	@mkdir -p .stamps && bash .lock/tools.sh run && touch $@

.stamps/dev-tools: .lock/tools.sh .stamps/tools
	@bash .lock/tools.sh dev && touch $@

.stamps/ready: .lock/run.txt pyproject.toml .stamps/tools
	@[ -x "$(BIN)/python" ] || "$(PYTHON)" -m venv "$(VENV)"
	@"$(BIN)/python" -m pip install -q --disable-pip-version-check --require-hashes -r .lock/run.txt
	@"$(BIN)/python" -m pip install -q --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@

.stamps/dev: .lock/all.txt .stamps/ready .stamps/dev-tools
	@"$(BIN)/python" -m pip install -q --disable-pip-version-check --require-hashes -r .lock/all.txt
	@touch $@

clean:
	rm -rf .venv .stamps demo
