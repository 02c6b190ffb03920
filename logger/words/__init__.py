"""Words: facts said in a reader's language and units. The rim alone uses this: messages, papers, pages, the command
line. What decides knows nothing of it (import-linter)."""
