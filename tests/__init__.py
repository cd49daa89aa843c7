"""Tests by intent; DEVELOPERS.md says which folder asks what."""
