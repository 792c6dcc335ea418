"""How long the bench stick takes from power to its answer, against the kernel's own start."""
