"""`python -m shearbolt`: the same as the command `shearbolt`."""

from __future__ import annotations

import sys

from shearbolt.cli import main

if __name__ == "__main__":
    sys.exit(main())
