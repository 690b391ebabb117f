"""Files: read within bounds, written whole or not at all, YAML with its lines."""
