"""Which sets of failures lead to a target: `pool` (what stays true whatever strikes) <- `sets` (the search)."""
