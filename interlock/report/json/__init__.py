"""Studies as JSON for other programs, and the schemas of it."""
