"""The sheet for the desk at the lathe."""
