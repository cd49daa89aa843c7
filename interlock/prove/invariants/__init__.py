"""Invariants that are guessed and then proved."""
