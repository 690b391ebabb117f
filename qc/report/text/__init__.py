"""Reports as plain text for a terminal."""
