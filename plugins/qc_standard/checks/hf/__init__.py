"""High frequencies: sibilance and cymbals at the cutter and the replay tip."""
