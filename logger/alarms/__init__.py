"""Alarms: the table of kinds, the life of one alarm, whom to tell. Pure: `now` is an argument."""
