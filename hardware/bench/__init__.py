"""The simulated bench, shipped: writes true kernel files and mock pins, so the real driver code runs."""
