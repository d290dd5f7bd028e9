"""Steps of the schema, run by Alembic when a book is older than this Shearbolt."""
