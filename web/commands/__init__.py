"""Parts of the `pourlog` command that need nothing but the store."""
