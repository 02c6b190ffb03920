"""Resins from what is stated or recorded: a datasheet's numbers, a shop's own pours."""
