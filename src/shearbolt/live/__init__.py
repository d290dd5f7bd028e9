"""Listening to a bus, never sending; nothing is in it yet: this version reads recordings."""
