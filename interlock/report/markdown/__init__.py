"""Studies as Markdown, to paste and to sign."""
