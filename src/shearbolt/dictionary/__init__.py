"""Facts as data with their sources, the loader that reads them, and the owner's additions.

The tables lie in `data/`; every row names its source, in words or by the codes of
`data/sources.csv`.
Only package data is read here; the owner's files reach this package as text.
"""
