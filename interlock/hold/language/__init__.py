"""What may be written in a description, and how it is read."""
