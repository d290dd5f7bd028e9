"""The command line: parses, calls one use case of `shearbolt.app`, prints its document."""

from __future__ import annotations

from shearbolt.cli.main import main

__all__ = ["main"]
