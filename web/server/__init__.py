"""The running server: the app put together, its start, its answers to errors, and what it says without a database."""
