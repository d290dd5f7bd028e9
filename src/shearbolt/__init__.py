"""The fault memory of a mixed fleet of farm machines, and the reasoning on top of it."""

import os

# NumPy's linear algebra would start a thread for every core while it is imported; nothing here is
# large enough to use them, and a start takes a third less without.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
