"""From a goal to an order of work that is proved."""
