"""Sets of states as decision diagrams, one level per variable.

Read `forest` (sets, and how they are closed under steps), then `relations` (rules as diagrams, the same rules for a
level together), `ordering` (which variable lies above which), `reaching` (the engine, its runs and its evidence).
"""
