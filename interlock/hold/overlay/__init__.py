"""Repetition and modification: changes to the node tree before it is read."""
