"""Remedies tried on passages: whether they help, and by how much."""
