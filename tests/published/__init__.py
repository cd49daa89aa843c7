"""Published tables and worked examples, put through the same kernel and engines as holds are.

Every expected number stands beside its source.  The labels in the sources: *read* (the text was read there), *read
second hand* (a copy of it was), *memory* (the source was not at hand: the comparison is one with a memory; nothing a
user sees rests on it), *recomputed* (obtained before with a separate throw-away enumeration).  A number with no source
but *recomputed* is ours, twice.  OEIS is the On-Line Encyclopedia of Integer Sequences.
"""
