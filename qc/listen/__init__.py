"""A passage of a side as sound files: the master, and what the disc will play of it."""
