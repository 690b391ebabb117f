"""What would help, and by how much, tried on passages."""
