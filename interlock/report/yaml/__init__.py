"""Checklists as procedure files."""
