"""Values to text, JSON, SVG and DOT; calls no engine and touches no file."""
