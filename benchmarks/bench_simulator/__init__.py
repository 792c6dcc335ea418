"""A simulator of the repair bench: invented units fail by its own tables, and policies repair them to the end."""
