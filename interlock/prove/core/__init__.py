"""What every engine uses.

Read `encoding` (a state as literals) and `local` (a rule as a question about one state) first.  `packing` has states
as integers and guards as Python source, `planes` asks very many of them at once (`straight`: as straight-line code),
`solvers` the one interface to SAT solvers, `polarity` a solver that is told few gates, `cone` the part of a machine on
which goals depend, `starts` and `samples` states.
"""
