"""One module per result sheet."""
