"""The use cases: one function a command, and the only place where the other parts meet."""
