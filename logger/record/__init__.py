"""The cure record of a table: its figures and its forms."""
