# Two commands: `make demo` and `make test`. Both set up all they need in .venv; on Windows use
# `python -m bootstrap demo` and `python -m bootstrap test`, which do the same.

# The first Python on the path that is new enough, or the one named: make demo PYTHON=...
PYTHON ?= $(firstword $(shell for one in python3 python3.13 python3.12 python3.11 python; do \
	$$one -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && echo $$one; done) python3)

.PHONY: demo test setup lock pictures bench calibrate
demo test setup lock pictures bench calibrate:
	@$(PYTHON) -m bootstrap $@
