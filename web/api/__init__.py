"""HTTP API, one router a noun."""
