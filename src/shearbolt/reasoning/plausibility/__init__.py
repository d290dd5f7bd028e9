"""Plausibility: does what a machine tells make physical sense, and has any sensor drifted?

Each check is a pure function of one visit (`check.Check`), run on every visit, faults or not.
`examination.examine` runs them all and draws one chart per sensor over visits.
"""
