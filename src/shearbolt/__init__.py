"""The fault memory of a mixed fleet of farm machines, and the reasoning on top of it."""
