"""One table of what the program costs, each row a ratio to a named peer of the same run."""
