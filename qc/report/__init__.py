"""What goes out: the report models and one small file a format."""
