"""Engines that visit states, and searches for runs."""
