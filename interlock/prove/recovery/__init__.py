"""*Can always*: from every reachable state the goal can be brought about.  Read `recovery`, then `cases`.

`ranks` guesses a measure that falls on the way, `planning` finds runs that make it fall, `cases` says of which states a
run does so, `context` is what they share of one machine.  `dead_ends` finds states from which there is no way.
"""
