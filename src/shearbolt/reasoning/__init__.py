"""Conclusions from what the book holds: pure functions over plain values, no data access."""
