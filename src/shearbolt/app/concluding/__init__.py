"""Concluding: one machine of the book is handed to the reasoning, and its answers are kept.

`record` reads a machine, `case` puts it into the reasoning's own values, `conclude` asks, `kept`
keeps the answers beside the book until something new is filed. Answers are values, never words.
"""
