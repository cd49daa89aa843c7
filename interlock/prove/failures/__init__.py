"""Which sets of failures lead to a target.

`narrowing` (what rules are where few may strike) <- `pool` (what stays true whatever strikes) and `states` (what is
known to be reached) <- `looking_back` <- `one_set` (the search under one set) <- `sets` (all of it).
"""
