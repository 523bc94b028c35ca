# `make demo` and `make test` set up all they need in folders that git ignores.
PYTHON ?= $(shell command -v python3.11 || command -v python3)
BLENDERS := 4.2 4.5 5.0
VENV := .venv
PY := $(VENV)/bin/python
NOTHING :=
SPACE := $(NOTHING) $(NOTHING)
BLENDER_GUI ?= ../shared/tools/blender-gui

# The bpy wheel of each Blender and the numpy that Blender ships.
BPY_4.2 := bpy==4.2.23 numpy==1.24.3
BPY_4.5 := bpy==4.5.15 numpy==1.26.4
BPY_5.0 := bpy==5.0.1 numpy==1.26.4

.PHONY: demo test check bench corpus fuzz extension packages gui pictures clean system

demo: $(VENV)/.ready
	$(PY) -m blend_demo --out demo-out

test: $(VENV)/.ready $(BLENDERS:%=.venv-%/.ready)
	POURWRIGHT_BPY_PYTHONS="$(subst $(SPACE),:,$(strip $(BLENDERS:%=$(CURDIR)/.venv-%/bin/python)))" \
	  $(PY) -m pytest --numprocesses auto --maxprocesses 6 --dist loadscope

check: $(VENV)/.ready
	$(PY) -m ruff check .
	$(PY) -m mypy
	$(VENV)/bin/lint-imports

# Twenty minutes of files made wrong on purpose; what fails is kept in tests/fuzz/kept.
fuzz: $(VENV)/.ready
	$(PY) -m tests.fuzz.run --minutes 20 --json docs/proof-fuzz.json

extension: $(VENV)/.ready
	$(PY) addon/build.py --out dist

# The zips of all four platforms, with sizes.
packages: $(VENV)/.ready
	$(PY) addon/build.py --all --out dist/packages

# Against named peers: prints the tables of docs/performance.md. Leave the machine alone meanwhile.
bench: extension
	$(PY) -m pip install --quiet --disable-pip-version-check --editable ".[bench]"
	$(PY) tests/bench/bench_air.py
	$(PY) tests/bench/bench_pose.py
	$(PY) tests/bench/bench_vents.py
	$(PY) tests/bench/bench_plan.py --plot docs/pictures/growth.svg
	$(PY) tests/bench/bench_register.py dist/pourwright-*.zip

# Every mesh that the registries' packages hold, against references; writes docs/proof.md.
corpus: $(VENV)/.ready
	$(PY) tests/corpus/run_intake.py --plans .cache/corpus/plans.json --write docs/proof.md

# Windowed Blender on a virtual screen; takes the screenshots of the guide. By hand: stall, frames.
GUI := first_minutes first_cast newcomer bases pose rising overlay mould bench presets batch \
  escape panel_cost
GUI_RUN = $(BLENDER_GUI) -o gui-out -t 1500 -u 1.2 -b blend_demo -b tests/addon \
  -z dist/pourwright-*.zip
gui: extension
	rm -rf gui-out
	$(GUI_RUN) -s 1600x2200 tests/gui/panels.py
	for script in $(GUI); do $(GUI_RUN) tests/gui/$$script.py || exit 1; done
	$(PY) tests/gui/reduce.py gui-out docs/pictures

pictures: $(VENV)/.ready
	$(PY) -m blend_demo --out demo-out --pictures docs/pictures

$(VENV)/.ready: pyproject.toml .ci/system-packages
	sh .ci/system-packages "$(PYTHON)"
	"$(PYTHON)" -m venv $(VENV)
	$(PY) -m pip install --quiet --disable-pip-version-check --editable ".[dev,blender]"
	touch $@

.venv-%/.ready: Makefile .ci/system-packages
	sh .ci/system-packages "$(PYTHON)"
	"$(PYTHON)" -m venv .venv-$*
	.venv-$*/bin/python -m pip install --quiet --disable-pip-version-check $(BPY_$*)
	touch $@

clean:
	rm -rf $(VENV) $(BLENDERS:%=.venv-%) build dist demo-out gui-out .cache
