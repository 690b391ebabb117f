"""Time between the channels, as a tape head leaves it that does not stand square to the tape."""
