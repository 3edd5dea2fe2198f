"""What runs for long: listening, judging and telling as it happens."""
