"""Tests that show failures to people in the hold.

`observing` <- `bench` (one failure beside none), `altered` and `reach` (where it could show) <- `making`.
"""
