"""Inductive invariants: put to z3, cut down to what questions need."""
