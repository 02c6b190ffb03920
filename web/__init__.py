"""The service: HTTP API, pages, live updates, command line. Start with app.py."""
