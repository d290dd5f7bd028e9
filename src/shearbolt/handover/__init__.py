"""The sheet and the evidence bundle for a technician; nothing is in it yet."""
