"""Published tables and worked examples, put through the same kernel and engines as holds are.

Every expected number stands beside its source.  The labels in the sources: *read* (the text was read there), *memory*
(not found in a source; nothing a user sees rests on it), *recomputed* (obtained before with a separate throw-away
enumeration).  A number with no source but *recomputed* is ours, twice.
"""
