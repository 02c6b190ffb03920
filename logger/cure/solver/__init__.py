"""The heat and cure of a cross-section over time: mesh, operators, march, ensemble, prediction."""
