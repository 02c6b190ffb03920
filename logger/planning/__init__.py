"""Before the pour: volume, batches, ratio, layers, form, wood, air, colour, readiness. Pure functions."""
