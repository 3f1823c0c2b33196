"""What the terminal and the JSON document say of a book."""
