"""Levels: what each limit allows, the level of a side and of a disc, and what happens at it."""
