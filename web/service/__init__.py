"""The state of a running service: store, clock, settings, the pipeline's health, events for live pages, counters."""
