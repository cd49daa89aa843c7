"""May the aircraft go with something inoperative, and under which limitations?

Read `inoperative` (what is taken to be inoperative), `limitations` (what people could keep), `restoring` (which
smallest sets of these suffice), then `deferral`.
"""
