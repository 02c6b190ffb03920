"""Judges: readings, forecast and facts in, an observation with its reason out. Pure."""
