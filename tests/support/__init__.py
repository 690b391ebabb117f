"""What tests of several rooms share; nothing in here is a test."""
