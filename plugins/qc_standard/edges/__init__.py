"""Edges of the programme: how the sound starts and ends at the ends of a side and of its tracks."""
