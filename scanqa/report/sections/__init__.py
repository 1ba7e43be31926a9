"""What is folded below the card: a section for each family, and for the work itself."""
