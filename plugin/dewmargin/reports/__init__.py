"""What is written and printed."""
