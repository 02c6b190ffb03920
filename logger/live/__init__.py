"""All that runs while pours are live: ingest, watch, forecasts, leader, the plain watch beneath."""
