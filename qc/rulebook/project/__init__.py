"""The pages of this project alone: the rulebook and the hook reference in its sources. The wheel leaves them out."""
