"""The trade: how programme becomes a groove, how the turns lie, what limits the cut, and at what level it fits."""
