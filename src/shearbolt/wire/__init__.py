"""Protocols without I/O: bytes and instants in, frozen messages and events out."""
