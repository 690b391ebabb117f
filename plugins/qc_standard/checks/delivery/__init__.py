"""What was sent against what the paper says."""
