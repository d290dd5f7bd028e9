"""The fleet of the invented contractor, a machine kind a file; `machines` gathers it."""
