"""Containers: headers, layout of samples, digests, and what contradicts the bytes. No samples are decoded here."""
