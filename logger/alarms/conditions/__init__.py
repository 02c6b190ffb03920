"""Conditions of the alarms: readings, forecast and facts in, an observation with its reason out. Pure."""
