"""Fleets: read `configurations` (which aircraft are alike), `answering` (one of them), then `differences`."""
