"""Looking things up in a text while somebody writes it: pure functions over texts, broken ones included.

Read `meanings` (what stands where in a file), `known` (all that is known of a text), `cursor` (where in a text
somebody is), then what is asked: `completing`, `looking`, `renaming`, `mending`.  No place here is a fault of the
description: those are the loader's.  Lines and columns count from 1, in code points, as everywhere.
"""
