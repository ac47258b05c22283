"""What is tried before the first run."""
