"""From the book's rows to the documents people and programs read; sentences are made here."""
