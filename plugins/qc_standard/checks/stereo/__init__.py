"""Left against right."""
