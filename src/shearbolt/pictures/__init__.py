"""Charts for page, command line and print; nothing is in it yet."""
