"""Whole recordings as arrays: frames in blocks, then signals, messages, fault events, visits.

`columns` turns a block of frames into groups, decoded columns and whole messages; `visit` gathers
from all blocks what a visit tells. No I/O: blocks come in, frozen values go out.
"""
