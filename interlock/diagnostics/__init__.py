"""Source positions and messages about what people wrote; knows nothing else of ours."""
