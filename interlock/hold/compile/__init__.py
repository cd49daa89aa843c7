"""From a description to a state machine."""
