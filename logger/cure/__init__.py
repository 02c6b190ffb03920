"""The cure model: kinetics, heat, solution, prediction, forecast. Pure: no clock, no file, no network."""
