"""What a person is told, in which words, and once."""
