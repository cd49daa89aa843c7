"""Engines against a rival and against size.  Run by hand; nothing here is collected as a test."""
