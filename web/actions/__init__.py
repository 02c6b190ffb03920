"""What a person does: plan, sign, start, watch, end, note. Pages and API call these, and never each other."""
