"""The command line: one small file a command; starts without numpy and pydantic."""
