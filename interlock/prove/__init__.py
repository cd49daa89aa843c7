"""Engines that claim: explicit, bounded, inductive, reachability-driven; and their adapters to solvers.

Importing this room loads no solver: each engine loads its own when it is first asked.
"""
