"""Expressions, machines, states, the reference evaluator, claims and findings.

Knows no cargo word, no solver and no file format.
"""
