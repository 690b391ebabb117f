"""What was sent, on paper: the delivery file, its waivers and lists of checksums. No audio is read in here."""
