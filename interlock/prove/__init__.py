"""Engines that claim, and what they share; `confirm` believes none of them.  Importing this room loads no solver.

Read `engine` (what an engine is), then `decide` (the default: which means, in which order), then the means:
  core          states as literals and as integers, solvers, the part of a machine on which goals depend
  certificates  inductive invariants put to z3, and cut down to what questions need
  search        engines that visit states, and searches for runs
  frames        property-directed reachability
  invariants    facts that are guessed, then proved together
  recovery      *can always*: from every reachable state the goal can be brought about
"""
