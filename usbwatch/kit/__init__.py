"""What collects a capture on a unit that has nothing installed, and sends it to the bench."""
