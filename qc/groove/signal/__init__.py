"""From samples to wall motion, envelopes by sector, and where the programme lies."""
