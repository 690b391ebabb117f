"""The groove itself: room, width, depth, steepness, curvature, drive, and the level it is cut at."""
