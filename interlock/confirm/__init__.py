"""The sceptic: turns claims into findings by replay, a second solver and a second count; never imports an engine."""
