"""Studies as text of at most 80 columns."""
