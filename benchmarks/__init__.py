"""Speed and memory, each printed as a ratio to a general-purpose library in the same run.

`python -m benchmarks` runs all, `python -m benchmarks NAME ...` some, `--frames N` on less.
"""
