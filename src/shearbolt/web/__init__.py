"""Pages for phone and computer; nothing is in it yet."""
