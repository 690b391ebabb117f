"""How the turns lie: the spiral, its radius, and the cut at one level."""
