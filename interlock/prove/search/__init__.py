"""Engines that visit states, and searches for runs: from what visits all to what looks where a plan points.

`explicit` one state after another and `vectorised` as arrays (on `arrays`); `enumeration` chooses between them.
`unrolling` and `bmc`: runs of 0, 1, 2, ... steps as one formula.  `delete_relaxation` says what things cost,
`best_first` plans by that, for checklists as for proofs, and `guided` pursues many targets so.
"""
