"""Inductive invariants: what is claimed must pass here first.

`obligations` has z3 agree that a certificate is one; `trimming` and `minimising` leave out what its questions do not
need, roughly and thoroughly; `needed` does so for a single requirement, for whoever asks why it holds.
"""
