"""High frequencies: what the cutter and the replay tip make of sibilance and cymbals."""
