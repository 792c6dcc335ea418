"""The casebook under load: many writers, writers that are killed, a book of a hundred thousand units."""
