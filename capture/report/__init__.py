"""What a visit comes to, for people to read."""
