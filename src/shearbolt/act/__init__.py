"""The only part that may send on a real bus; nothing is in it yet, so nothing can be sent."""
