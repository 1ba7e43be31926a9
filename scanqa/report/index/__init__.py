"""What lies in a folder: names of pages, what each says of itself, and their list."""
