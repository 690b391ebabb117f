"""The run of each command, from the read delivery to its result."""
