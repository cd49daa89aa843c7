"""From every reachable state the goal can be brought about: the engine for *can always*."""
