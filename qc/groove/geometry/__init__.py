"""Geometry of the groove: the spiral, its radius, and the cut at one level."""
