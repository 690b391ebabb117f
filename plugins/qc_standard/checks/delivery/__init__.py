"""Checks that compare the files with the delivery documents."""
