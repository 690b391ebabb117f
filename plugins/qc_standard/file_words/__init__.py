"""Compare what audio files say of themselves, in their tags and names, with the delivery."""
