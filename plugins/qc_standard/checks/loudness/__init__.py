"""How loud the programme is."""
