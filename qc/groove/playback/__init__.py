"""The disc as it will play: what the cutter leaves of the wall motion, and what a tip makes of that.

`passage.CutPassage` holds the motion of a few seconds; `play` cuts it at a level and traces it at a groove speed;
`residual` compares the result with the master. There are no limits here.
"""
