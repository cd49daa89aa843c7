"""Solvers, encodings, clocks: what every engine uses."""
