"""Set-up of the working tree with the standard library alone.

`python -m bootstrap demo` and `python -m bootstrap test` do what `make demo` and `make test` do, on
every system: a virtual environment in the tree, the locked dependencies, then the job.
"""
