"""How the channels relate along a side: their balance over time, and their correlation by octave."""
