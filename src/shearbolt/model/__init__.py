"""Frozen values that every layer shares: frames, signals, messages, faults, controllers, visits.

No module here does I/O or knows where its values come from.
"""
