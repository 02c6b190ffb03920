"""The plan file: its tables, their checks, and what it may cost to read."""
