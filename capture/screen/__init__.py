"""What is shown and what is struck."""
