"""One module a topic: from a plan and the cure model's answers to findings in plain words."""
