"""Which smallest sets of options make a target reachable.

`freeing` says which options a certificate can do without; `enabling` goes from set to set.
"""
