"""Property-directed reachability, with its frames and the search for a fixed point."""
