"""Property-directed reachability: `frames` holds the search for a fixed point, `pdr` is the engine made of it."""
