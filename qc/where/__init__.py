"""Places on a side: from a radius, a time or a turn to the other two, and to the groove there."""
