"""From a goal to an order of work that is proved.  Read `making`, the whole of it, first.

`goals` takes a goal apart into aims; `operating` says what one deed of a careful crew leads to; `planning` and, as
the last resort, `timed` find deeds; `detours` leaves out what only the legs together can do without, `needs` says why
each step of preparation is there; `free_orders` (on `partial_orders`) and `shortness` say how free and how short the
order is; `nearest_goals` looks for what can be done instead; `audit` reads the checklist back as a procedure.
"""
