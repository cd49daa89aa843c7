"""Studies as pages to print and sign."""
