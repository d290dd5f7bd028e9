# Two commands: `make demo` and `make test`. Both set up all they need in .venv; on Windows use
# `python -m bootstrap demo` and `python -m bootstrap test`, which do the same.
PYTHON ?= python3

.PHONY: demo test setup bench lock
demo:
	$(PYTHON) -m bootstrap demo
test:
	$(PYTHON) -m bootstrap test
setup:
	$(PYTHON) -m bootstrap setup
lock:
	$(PYTHON) -m bootstrap lock
bench: setup
	.venv/bin/python -m benchmarks
