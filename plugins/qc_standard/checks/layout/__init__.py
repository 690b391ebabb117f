"""How a side is laid out: its length, its silences, its gaps, the order of its tracks."""
