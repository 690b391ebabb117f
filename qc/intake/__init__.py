"""Intake: what was sent is inspected, tracks are joined, and a side is ready to be measured."""
