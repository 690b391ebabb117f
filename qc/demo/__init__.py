"""A small invented release, rendered by code: music, planted faults, and the delivery that carries them."""
