"""What is shown, worked out once for page and program: status, agenda, prediction, units, forms, pictures."""
